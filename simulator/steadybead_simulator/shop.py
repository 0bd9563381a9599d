"""The whole shop: every station's blocks with what was really so."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from steadybead_domain.plant import Plant, Station
from steadybead_domain.times import SECOND
from steadybead_simulator.day import Act, TrueWeld
from steadybead_simulator.edge import EdgeNode, Sent
from steadybead_simulator.faults import Fault
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.station import StationSim
from steadybead_simulator.truth import Truth
from steadybead_simulator.weather import BLOCK_S, Hall

BEFORE_BLOCKS = 2  # walked before the start, so that nothing begins at rest in mid-work
FILTER_LIMIT_PA = 250.0


@dataclass(slots=True)
class StationStep:
    """One block of one station: what left the node (None: asleep) and what was really so."""

    index: int
    station: Station
    sent: Sent | None
    truth: list[Truth] = field(default_factory=list)


class Shop:
    """A plant under a scenario, with its start fixed."""

    def __init__(self, plant: Plant, scenario: Scenario, seed: int, start_us: int) -> None:
        if not 0 <= seed < 2**63:
            raise ValueError("the seed is a whole number from 0 to 2^63 - 1")
        self.plant, self.scenario, self.seed, self.start_us = plant, scenario, seed, start_us
        self._hall = Hall(scenario, seed, start_us)

    def walk(self, station: Station, end_s: float = math.inf) -> Iterator[StationStep]:
        """Walk one station's blocks from the start to `end_s`."""
        sim = StationSim(
            self.scenario,
            station,
            self._hall,
            zone=self.plant.timezone,
            seed=self.seed,
            start_us=self.start_us,
        )
        node = EdgeNode(self.scenario, station.id, self.seed, self.start_us)
        notes = _Notes(self, station)
        for index in range(-BEFORE_BLOCKS, 0):
            sim.block(index)
        index = 0
        while index * BLOCK_S < end_s:
            block = sim.block(index)
            sent = None if block is None else node.send(block)
            yield StationStep(index, station, sent, notes.of(index, sent))
            index += 1

    def us(self, seconds: float) -> int:
        """Turn s since the start into µs since 1970."""
        return self.start_us + round(seconds * SECOND)


class _Notes:
    """Writes down what was really so at one station."""

    def __init__(self, shop: Shop, station: Station) -> None:
        self._shop, self._station = shop, station.id.station
        self._faults = list(shop.scenario.faults_of(self._station))
        self._limit = station.air.intake_filter_limit_pa or FILTER_LIMIT_PA
        self._over = False
        self._hour = -1

    def of(self, index: int, sent: Sent | None) -> list[Truth]:
        """Give the rows of one block."""
        end_s = (index + 1) * BLOCK_S
        rows = []
        while self._faults and self._faults[0].start_s < end_s:
            rows.append(self._fault(self._faults.pop(0)))
        if sent is None:
            return rows
        block = sent.block
        rows += [self._act(a) for a in block.acts]
        rows += [self._weld(w) for w in block.welds]
        rows += self._filter(index, block.filter_pa)
        rows += [self._burnt(g, s) for g, s in block.burnt]
        return rows

    def _fault(self, fault: Fault) -> Truth:
        us = self._shop.us
        kind = fault.kind
        units = {"difference": "K", "pressure": "Pa", "percent": "%", "voltage": "V"}
        units |= {"length": "mm", "flow": "L/min", "time": "s", "times": "times"}
        return Truth(
            "fault", kind.name, fault.id, self._station, fault.gun, fault.channel,
            us(fault.start_s),
            None if math.isinf(fault.end_s) else us(fault.end_s),
            us(fault.start_s + fault.over_s),
            fault.size if kind.dimension else None,
            units.get(kind.dimension or ""),
            "ramp" if fault.over_s > 0.0 else "sudden",
            detail=kind.says,
        )  # fmt: skip

    def _act(self, act: Act) -> Truth:
        end = None if act.end_s is None else self._shop.us(act.end_s)
        start = self._shop.us(act.start_s)
        return Truth(
            "act", act.kind, f"{self._station}-{act.kind}-{start}", self._station, act.gun, None,
            start, end, None, act.size, act.unit, None, "people", act.recorded, detail=act.detail,
        )  # fmt: skip

    def _weld(self, weld: TrueWeld) -> Truth:
        us = self._shop.us
        told_start = None if weld.told_start_s is None else us(weld.told_start_s)
        told_stop = None if weld.told_stop_s is None else us(weld.told_stop_s)
        return Truth(
            "weld", "weld", weld.weld, self._station, weld.gun, None, us(weld.start_s),
            us(weld.stop_s), cause="people", recorded=told_start is not None,
            told_start=told_start, told_stop=told_stop, detail=weld.welder,
        )  # fmt: skip

    def _burnt(self, gun: str, at_s: float) -> Truth:
        at = self._shop.us(at_s)
        return Truth(
            "fault", "element_break", f"{self._station}-{gun}-burnt", self._station, gun, None, at,
            None, at, course="sudden", cause="wear", detail="burnt out, too long without air",
        )  # fmt: skip

    def _filter(self, index: int, drop_pa: float) -> Iterator[Truth]:
        """Note the filter's drop every hour, and the moment when it passes its limit."""
        at = self._shop.us((index + 1) * BLOCK_S)
        hour = at // (3600 * SECOND)
        over = drop_pa > self._limit
        kinds = ["filter_drop"] if hour != self._hour else []
        if over and not self._over:
            kinds.append("filter_limit_passed")
        self._hour, self._over = hour, over
        for kind in kinds:
            yield Truth(
                "state", kind, f"{self._station}-{kind}-{at}", self._station, None, None, at,
                size=drop_pa, unit="Pa", cause="wear", detail="at 100 L/min and 20 °C",
            )  # fmt: skip
