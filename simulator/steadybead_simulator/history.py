"""History without a broker: the same shop as columns, for tests and for the detection score."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from steadybead_domain.conversion.specs import CurrentLoop, Thermocouple
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, Plant, Station
from steadybead_domain.readings import Batch, Columns, Float64, Int64, Quality, Reason
from steadybead_domain.times import SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind
from steadybead_simulator.edge import NEVER, Sent
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.shop import Shop
from steadybead_simulator.spans import Mask
from steadybead_simulator.truth import Truth
from steadybead_simulator.units import convert
from steadybead_simulator.weather import BLOCK_S
from steadybead_simulator.wire import engineering


@dataclass(slots=True)
class Wire:
    """What arrived of one station in one block: time stamps and receipts int64 [n] in µs.

    `raw` float64 [n] by channel as it stood on the wire, NaN where the channel was left out.
    """

    clock: Int64
    sent: Int64
    raw: Mapping[Channel, Float64]


@dataclass(slots=True)
class HistoryBlock:
    """What the whole plant sent in five minutes, by arrival before `received` (µs).

    `columns`: converted, quality said as the contract has it. `wire`: the same, unconverted, by
    station in the plant's order. What a second node sends is not in here.
    """

    received: int
    columns: dict[ChannelId, Columns] = field(default_factory=dict)
    wire: list[Wire] = field(default_factory=list)
    weld_events: list[WeldEvent] = field(default_factory=list)
    truth: list[Truth] = field(default_factory=list)

    @property
    def batch(self) -> Batch:
        """Give it as one batch."""
        return Batch(self.received, self.columns)


def history(
    plant: Plant, scenario: Scenario, seed: int, start: int, end: int
) -> Iterator[HistoryBlock]:
    """Walk the shop from `start` to `end` (µs), five minutes at a time, with flat memory."""
    shop = Shop(plant, scenario, seed, start)
    end_s = (end - start) / SECOND
    walks = [_StationHistory(shop, s) for s in plant.stations]
    steps = [shop.walk(s, end_s) for s in plant.stations]
    for together in zip(*steps, strict=True):
        block = HistoryBlock(shop.us((together[0].index + 1) * BLOCK_S))
        for walk, step in zip(walks, together, strict=True):
            walk.add(step.sent, block)
            block.truth += step.truth
        block.weld_events.sort(key=lambda e: e.time)
        yield block


def columns_of(
    plant: Plant, scenario: Scenario, seed: int, start: int, end: int
) -> Iterator[tuple[int, dict[ChannelId, Columns]]]:
    """Walk only the converted columns: (received µs, columns by channel)."""
    for block in history(plant, scenario, seed, start, end):
        yield block.received, block.columns


_WITHOUT_VALUE = np.array([not r.has_value for r in Reason])


class _StationHistory:
    """Sorts one station's readings by arrival and converts them."""

    def __init__(self, shop: Shop, station: Station) -> None:
        self._shop, self._station = shop, station
        self._late: list[Wire] = []
        self._last: dict[Channel, float] = {}

    def add(self, sent: Sent | None, block: HistoryBlock) -> None:
        """Add what arrives before `block.received`; the rest waits."""
        if sent is not None:
            self._events(sent, block)
            kept = sent.sent != NEVER
            wire = Wire(sent.clock, sent.sent, sent.raw)
            self._late.append(wire if kept.all() else _pick(wire, kept))
        ripe, late = [], []
        for wire in self._late:
            now = wire.sent < block.received
            if now.all():
                ripe.append(wire)
                continue
            ripe.append(_pick(wire, now))
            late.append(_pick(wire, ~now))
        self._late = late
        ripe = [w for w in ripe if len(w.clock)]
        if ripe:
            wire = _joined(ripe)
            block.wire.append(wire)
            for channel in self._station.channels:
                block.columns[channel.id] = self._converted(channel, wire)

    def _events(self, sent: Sent, block: HistoryBlock) -> None:
        for tell in sent.block.tells:
            start = tell.event == "start"
            block.weld_events.append(
                WeldEvent(
                    WeldEventKind.START if start else WeldEventKind.STOP,
                    tell.weld,
                    self._station.id,
                    tell.gun,
                    self._shop.us(tell.at_s),
                    tell.welder,
                    "mqtt",
                    self._station.procedure,
                    job=tell.job,
                    seam=tell.seam,
                    welder=tell.welder,
                )
            )

    def _converted(self, channel: Channel, wire: Wire) -> Columns:
        raw = wire.raw[channel]
        terminals = self._terminals(channel, wire)
        before = np.concatenate(([self._last.get(channel, np.nan)], raw))
        value = engineering(channel, before, terminals, self._shop.scenario.sample_s)[1:]
        if len(raw):
            self._last[channel] = float(raw[-1])
        reason = _reasons(channel, raw, value)
        quality = np.zeros(len(raw), np.uint8)
        if reason.any():
            quality[reason != Reason.NONE] = Quality.BAD
            value = np.where(_WITHOUT_VALUE[reason], 0.0, value)
        columns = Columns(wire.clock, value, raw, quality, reason, np.ones(len(raw), np.uint32))
        there = np.isfinite(raw)
        return columns if there.all() else columns.take(there)

    def _terminals(self, channel: Channel, wire: Wire) -> dict[str, Float64]:
        spec = channel.conversion
        if not isinstance(spec, Thermocouple) or not isinstance(spec.cold_junction, str):
            return {}
        found = next(c for c in wire.raw if c.id.channel == spec.cold_junction)
        cold = convert(wire.raw[found], found.wire_unit, found.unit)
        return {spec.cold_junction: np.concatenate((cold[:1], cold))}


def _reasons(
    channel: Channel, raw: Float64, value: Float64
) -> np.ndarray[tuple[int], np.dtype[np.uint8]]:
    facts = channel.quantity.facts
    reason = np.zeros(len(raw), np.uint8)
    with np.errstate(invalid="ignore"):
        reason[(value < facts.low) | (value > facts.high)] = Reason.OUT_OF_PHYSICAL_RANGE
        if isinstance(channel.conversion, Thermocouple):
            reason[value >= 1300.0] = Reason.OPEN_CIRCUIT
        if isinstance(channel.conversion, CurrentLoop):
            ma = convert(raw, channel.wire_unit, "mA")
            reason[(ma < 3.6) | (ma > 21.0)] = Reason.LOOP_FAULT
    reason[~np.isfinite(value)] = Reason.COLD_JUNCTION_MISSING
    return reason


def _pick(wire: Wire, mask: Mask) -> Wire:
    return Wire(wire.clock[mask], wire.sent[mask], {c: v[mask] for c, v in wire.raw.items()})


def _joined(wires: list[Wire]) -> Wire:
    if len(wires) == 1:
        return wires[0]
    return Wire(
        np.concatenate([w.clock for w in wires]),
        np.concatenate([w.sent for w in wires]),
        {c: np.concatenate([w.raw[c] for w in wires]) for c in wires[0].raw},
    )
