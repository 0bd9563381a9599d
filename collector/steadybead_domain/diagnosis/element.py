"""The heating element: hot resistance, warm-up time at full output, lost headroom.

Power at equal temperature rise and flow says nothing about the element: the controller makes up
for it. What ages shows in the resistance, in the time to warm up and in the output that is left.
"""

from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import log
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.feature import Feature, FeatureFacts
from steadybead_domain.diagnosis.finding import OVER, Finding, Sureness
from steadybead_domain.diagnosis.grid import STEP
from steadybead_domain.diagnosis.gun_state import HOT, OFF, READY, WARMING, WELDING, States
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.steps import Bool, run_length
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import HOUR, SECOND, format_rfc3339

FULL_PCT = 97.0
SHORT_C = 5.0
SHORT_S = 60
LEAST_STEPS = 20
FACTS = {"warm_up": FeatureFacts("%", 8.0), "warm_resistance": FeatureFacts("%", 1.0)}
LEAST = {"warm_up": 20.0, "warm_resistance": 3.0}
_SAYS = {
    "warm_up": (
        "element_warm_up_slow",
        "warming up at full output takes {size:.0f} % longer than it did",
        "Measure the element's resistance, cold and without power, and the supply voltage.",
    ),
    "warm_resistance": (
        "element_ageing",
        "the element's hot resistance at full output has risen by {size:.1f} %",
        "Plan a new element; until then watch that the gun still reaches its set value.",
    ),
}


class ElementWatch:
    """Sees warm-ups from cold and the hot gun at full output.

    Warm-up needs heater output, nozzle temperature; its resistance needs supply voltage and power
    or current beside it. Headroom needs set temperature and output. Sums are of whole numbers, so
    that they do not depend on how the steps are cut. One point a warm-up; delay as `Feature`.
    `resistance` False: the resistance is followed elsewhere, in the steady states.
    """

    def __init__(self, station: Station, gun: str, *, resistance: bool = True) -> None:
        self.resistance = resistance
        self.station = station
        self.gun = gun
        self.figures = {name: Feature(facts) for name, facts in FACTS.items()}
        self.state = -1
        self.from_cold = False
        self.full = 0
        self.milliohms = 0
        self.measured = 0
        self.squares = 0
        self.short = 0
        self.told: dict[str, int] = {}
        self.refits: list[int] = []

    def update(self, start: int, traces: Traces, states: States) -> list[Finding]:
        """Give the findings that the steps start, start+1, … allow."""
        output = traces.value(Quantity.HEATER_OUTPUT, self.gun)
        volts = traces.value(Quantity.SUPPLY_VOLTAGE)
        ohms = self._ohms(traces, volts)
        found: list[Finding] = []
        with np.errstate(invalid="ignore"):
            full = output >= FULL_PCT
        bounds = [0, *(np.flatnonzero(np.diff(states)) + 1).tolist(), len(states)]
        for first, end in pairwise(bounds):
            found += self._enter(int(states[first]), (start + first) * STEP)
            if self.state == WARMING:
                self._sum(full[first:end], ohms[first:end], volts[first:end])
        return [*found, *self._headroom(start, traces, states, full)]

    def _ohms(self, traces: Traces, volts: Float64) -> Float64:
        current = traces.value(Quantity.HEATER_CURRENT, self.gun)
        power = traces.value(Quantity.HEATER_POWER, self.gun)
        with np.errstate(invalid="ignore", divide="ignore"):
            by_power = np.where(power > 20.0, volts * volts / power, np.nan)
            by_current = np.where(current > 0.2, volts / current, np.nan)
        return np.where(np.isnan(by_power), by_current, by_power)

    def _enter(self, state: int, time: int) -> Iterator[Finding]:
        before, self.state = self.state, state
        if state == before:
            return
        if before == WARMING and state in (HOT, READY, WELDING) and self.from_cold:
            yield from self._warm(time)
        if state == WARMING:
            self.from_cold = before == OFF
            self.full = self.milliohms = self.measured = self.squares = 0

    def _sum(self, full: Bool, ohms: Float64, volts: Float64) -> None:
        self.full += int(full.sum())
        known = full & np.isfinite(ohms)
        self.measured += int(known.sum())
        self.milliohms += int(np.rint(ohms[known] * 1000.0).astype(np.int64).sum())
        squares = np.rint(volts[known] ** 2).astype(np.int64)
        self.squares += int(squares.sum())

    def _warm(self, time: int) -> Iterator[Finding]:
        """Take a warm-up: its length, brought to equal voltage where that is known."""
        if self.full < LEAST_STEPS:
            return
        length = float(self.full)
        if self.measured == self.full:
            length *= self.squares / self.measured / 230.0**2
        yield from self._point("warm_up", time, 100.0 * log(length))
        if self.resistance and self.measured >= LEAST_STEPS:
            ohms = self.milliohms / self.measured / 1000.0
            yield from self._point("warm_resistance", time, 100.0 * log(ohms))

    def _point(self, name: str, time: int, value: float) -> Iterator[Finding]:
        if any(t <= time for t in self.refits):
            self.relearn()
            self.refits = [t for t in self.refits if t > time]
        figure = self.figures[name]
        figure.add(time, value)
        since = figure.onset()
        kind, says, to_do = _SAYS[name]
        if since is None and kind in self.told and figure.calm():
            yield self._over(kind, time, self.told.pop(kind))
        if since is None or figure.side < 0:
            return
        shift = figure.shift(since)
        if shift is None or shift[0] < LEAST[name]:
            return
        if kind in self.told:
            return
        self.told[kind] = since
        yield Finding(
            kind,
            self.station.id,
            self.gun,
            None,
            time,
            since,
            f"gun {self.gun}: {says.format(size=shift[0])}.",
            to_do,
            Sureness.LIKELY,
            shift[0],
            0.0,
            shift[1],
            LEAST[name],
            "%",
        )

    def _over(self, kind: str, time: int, since: int) -> Finding:
        return Finding(
            kind + OVER,
            self.station.id,
            self.gun,
            None,
            time,
            time,
            f"gun {self.gun}: {kind.replace('_', ' ')} is over; three warm-ups were as before.",
            "Nothing.",
            Sureness.LIKELY,
            evidence=(("began", format_rfc3339(since)),),
        )

    def _headroom(
        self, start: int, traces: Traces, states: States, full: Bool
    ) -> Iterator[Finding]:
        nozzle = traces.value(Quantity.NOZZLE_TEMPERATURE, self.gun)
        wanted = traces.value(Quantity.SET_TEMPERATURE, self.gun)
        hot = (states == HOT) | (states == READY) | (states == WELDING)
        with np.errstate(invalid="ignore"):
            short = hot & full & (nozzle < wanted - SHORT_C)
        lasting = run_length(short, self.short)
        self.short = int(lasting[-1])
        for i in np.flatnonzero(lasting == SHORT_S * SECOND // STEP).tolist():
            time = (start + i + 1) * STEP
            if time - self.told.get("element_headroom_lost", -(2**62)) < 12 * HOUR:
                continue
            self.told["element_headroom_lost"] = time
            yield self._lost(time, float(nozzle[i]), float(wanted[i]))

    def _lost(self, time: int, nozzle_c: float, wanted_c: float) -> Finding:
        return Finding(
            "element_headroom_lost",
            self.station.id,
            self.gun,
            None,
            time,
            time - SHORT_S * SECOND,
            f"gun {self.gun}: at full output for {SHORT_S} s and still {wanted_c - nozzle_c:.0f} °C"
            " below its set value.",
            "Check the supply voltage and the flow; if both are as usual the element is worn.",
            Sureness.CERTAIN,
            nozzle_c,
            wanted_c,
            None,
            wanted_c - SHORT_C,
            "Cel",
        )

    def relearn(self) -> None:
        """Learn anew, after the element was changed."""
        self.figures = {name: Feature(facts) for name, facts in FACTS.items()}
        self.told = {}

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "figures": {name: f.dump() for name, f in self.figures.items()},
            "state": self.state,
            "from_cold": self.from_cold,
            "sums": [self.full, self.milliohms, self.measured, self.squares],
            "short": self.short,
            "told": self.told,
            "refits": self.refits,
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        for name, figure in self.figures.items():
            figure.load(data["figures"][name])
        self.state, self.from_cold = int(data["state"]), bool(data["from_cold"])
        self.full, self.milliohms, self.measured, self.squares = (int(v) for v in data["sums"])
        self.short = int(data["short"])
        self.told = {kind: int(t) for kind, t in data["told"].items()}
        self.refits = [int(t) for t in data["refits"]]
