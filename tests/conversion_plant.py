"""A station with one channel of each kind of wiring, and packs to send through it."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from steadybead_domain.conversion.specs import (
    Conversion,
    CurrentLoop,
    Linear,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.conversion.station import StationConverter
from steadybead_domain.conversion.wire import WireColumns
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Quality, Reading, Reason

SECOND = 1_000_000
START = 1_780_000_000 * SECOND
Record = tuple[str, int, float]  # channel, µs after START, wire value


def channel(name: str, quantity: Quantity, unit: str, how: Conversion | None = None) -> Channel:
    return Channel(channel_id(name), quantity, unit, how)


def channel_id(name: str) -> ChannelId:
    return ChannelId("north", "bay-1", name)


def station(*channels: Channel) -> Station:
    return Station(StationId("north", "bay-1"), channels)


NOZZLE = channel(
    "gun-a/nozzle", Quantity.NOZZLE_TEMPERATURE, "mV", Thermocouple("K", "gun-a/terminal")
)
TERMINAL = channel("gun-a/terminal", Quantity.TERMINAL_TEMPERATURE, "Cel")
PULSES = channel("gun-a/pulses", Quantity.AIR_FLOW, "count", PulseCounter(0.1, 1000))
LOOP = channel("gun-a/loop", Quantity.AIR_FLOW, "mA", CurrentLoop(0.0, 100.0, "L/min"))
VOLTS = channel("gun-a/volts", Quantity.AIR_FLOW, "V", VoltageLoop(0.0, 6.0, "m3/h"))
ROOT = channel("gun-a/root", Quantity.AIR_FLOW, "Pa", SquareRoot(100.0, 400.0, "L/min"))
LINE = channel("gun-a/line", Quantity.HEATER_POWER, "V", Linear(0.5, 0.1, "kW"))
PLAIN = channel("gun-a/set", Quantity.SET_TEMPERATURE, "degF")
STATION = station(NOZZLE, TERMINAL, PULSES, LOOP, VOLTS, ROOT, LINE, PLAIN)


def columns(
    packs: Iterable[Sequence[Record]], quality: Quality = Quality.GOOD
) -> dict[str, WireColumns]:
    """Lay packs out as one call of the converter; pack numbers start at 0."""
    rows: dict[str, list[tuple[int, float, int]]] = {}
    for number, pack in enumerate(packs):
        for name, time, wire in pack:
            rows.setdefault(name, []).append((START + time, wire, number))
    return {name: wire_columns(some, quality) for name, some in rows.items()}


def wire_columns(
    rows: Sequence[tuple[int, float, int]],
    quality: Quality = Quality.GOOD,
    reason: Reason = Reason.NONE,
) -> WireColumns:
    time, wire, pack = zip(*rows, strict=True)
    return WireColumns(
        np.array(time, np.int64),
        np.array(wire, np.float64),
        np.full(len(rows), quality, np.uint8),
        np.full(len(rows), reason, np.uint8),
        np.array(pack, np.int64),
    )


def convert_cut(packs: Sequence[Sequence[Record]], cuts: Iterable[int]) -> dict[str, Columns]:
    """Send the packs through one converter, a batch between any two cuts."""
    converter = StationConverter(STATION, 1)
    edges = [0, *sorted(cuts), len(packs)]
    parts: dict[str, list[Columns]] = {}
    for low, high in pairwise(edges):
        for name, some in converter.convert(columns(packs[low:high])).items():
            parts.setdefault(name.channel, []).append(some)
    return {name: Columns.concat(some) for name, some in parts.items()}


def readings(name: str, wires: Sequence[float], step_s: float = 1.0) -> list[Reading]:
    """Convert wire values of one channel, each in a pack of its own."""
    packs = [[(name, int(i * step_s * SECOND), wire)] for i, wire in enumerate(wires)]
    converted = convert_cut(packs, [])[name]
    return [converted.row(i) for i in range(len(converted))]
