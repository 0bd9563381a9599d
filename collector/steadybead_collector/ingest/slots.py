"""Where the records of one batch gather, channel by channel, before conversion."""

from dataclasses import dataclass, field

import numpy as np

from steadybead_collector.ingest.shapes import Shapes
from steadybead_domain.conversion.station import StationConverter
from steadybead_domain.conversion.units import UnitError, to_unit
from steadybead_domain.conversion.wire import WireColumns
from steadybead_domain.plant import Channel, Station
from steadybead_domain.readings import Float64, Int64, Quality, Reason, UInt8

IDENTITY = (1.0, 0.0)
_MOST_UNITS = 64
Scale = tuple[float, float]


@dataclass(slots=True, eq=False)
class Slot:
    """The rows of one channel in the batch that is being taken in."""

    channel: Channel
    times: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    marks: list[tuple[int, int, int]] = field(default_factory=list)  # row, quality, reason
    packs: list[int] = field(default_factory=list)
    _scales: dict[str, Scale | None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Know the wire unit."""
        self._scales[self.channel.wire_unit] = IDENTITY

    def add(self, time: int, value: float, pack: int) -> None:
        """Append a row of good quality."""
        self.times.append(time)
        self.values.append(value)
        self.packs.append(pack)

    def mark(self, quality: Quality, reason: Reason) -> None:
        """Mark the row that was appended last."""
        self.marks.append((len(self.times) - 1, int(quality), int(reason)))

    def scale(self, unit: str) -> Scale | None:
        """Give (factor, offset) from a record's unit to the wire unit; None: it does not fit."""
        if unit in self._scales:
            return self._scales[unit]
        try:
            scale: Scale | None = to_unit(unit, self.channel.wire_unit)
        except UnitError:
            scale = None
        if len(self._scales) < _MOST_UNITS:
            self._scales[unit] = scale
        return scale

    def columns(self) -> WireColumns:
        """Give the rows as columns, in order of arrival."""
        n = len(self.times)
        quality, reason = np.zeros(n, np.uint8), np.zeros(n, np.uint8)
        for row, worse, why in self.marks:
            quality[row], reason[row] = worse, why
        return WireColumns(
            np.array(self.times, np.int64),
            np.array(self.values, np.float64),
            quality,
            reason,
            np.array(self.packs, np.int64),
        )

    def clear(self) -> None:
        """Forget the rows."""
        self.times, self.values, self.marks, self.packs = [], [], [], []


class StationSlots:
    """The slots of one station, the forms of pack that it sends, and its converter."""

    def __init__(self, station: Station, plant_version: int) -> None:
        self.station = station
        self.by_name = {c.id.channel: Slot(c) for c in station.channels}
        self.shapes = Shapes(self.by_name)
        self.converter = StationConverter(station, plant_version)

    def gathered(self) -> dict[str, WireColumns]:
        """Give what has gathered, channels in the plant's order; and clear the slots."""
        columns: dict[str, WireColumns] = {}
        for slot, time, value, pack in self.shapes.gather():
            name, good = slot.channel.id.channel, _good(len(time))
            rows = WireColumns(time, value, good, good, pack)
            columns[name] = _in_order(columns[name], rows) if name in columns else rows
        for name, slot in self.by_name.items():
            if slot.times:
                rows = slot.columns()
                columns[name] = _in_order(columns[name], rows) if name in columns else rows
                slot.clear()
        return {name: columns[name] for name in self.by_name if name in columns}


_GOOD: UInt8 = np.zeros(4096, np.uint8)
_GOOD.flags.writeable = False


def _good(n: int) -> UInt8:
    """Give n zeros that nobody may write to."""
    return _GOOD[:n] if n <= len(_GOOD) else np.zeros(n, np.uint8)


def _in_order(one: WireColumns, other: WireColumns) -> WireColumns:
    """Join rows of one channel; no pack has rows in both."""
    pack: Int64 = np.concatenate((one.pack, other.pack))
    order = np.argsort(pack, kind="stable")
    wire: Float64 = np.concatenate((one.wire, other.wire))
    return WireColumns(
        np.concatenate((one.time, other.time))[order],
        wire[order],
        np.concatenate((one.quality, other.quality))[order],
        np.concatenate((one.reason, other.reason))[order],
        pack[order],
    )
