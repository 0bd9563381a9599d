"""Readings in columns: times, values, raw samples, quality and its reason."""

from collections.abc import ItemsView, Iterable, Iterator, Mapping, ValuesView
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from steadybead_domain.ids import ChannelId

Int64 = npt.NDArray[np.int64]
Float64 = npt.NDArray[np.float64]
UInt8 = npt.NDArray[np.uint8]
UInt32 = npt.NDArray[np.uint32]
COLUMN_TYPES: Mapping[str, np.dtype[Any]] = {
    "time": np.dtype(np.int64),
    "value": np.dtype(np.float64),
    "raw": np.dtype(np.float64),
    "quality": np.dtype(np.uint8),
    "reason": np.dtype(np.uint8),
    "plant": np.dtype(np.uint32),
}


class Quality(IntEnum):
    """How far a reading may be trusted. The numbers are stored: never reuse one."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2

    @property
    def word(self) -> str:
        """Give the word that the API and the pages show."""
        return self.name.lower()


class Reason(IntEnum):
    """Why a reading is not good. The numbers are stored: never reuse one."""

    NONE = 0
    TIME_OF_RECEIPT = 1
    CLOCK = 2
    OPEN_CIRCUIT = 3
    OUT_OF_PHYSICAL_RANGE = 4
    COLD_JUNCTION_MISSING = 5
    LOOP_FAULT = 6
    COUNTER_RESTART = 7
    DEFAULT_CONDITIONS = 8

    @property
    def text(self) -> str:
        """Give the words that the API and the pages show; empty for NONE."""
        return "" if self is Reason.NONE else self.name.lower().replace("_", " ")

    @property
    def has_value(self) -> bool:
        """Tell whether a bad reading with this reason still has an engineering value."""
        return self not in _WITHOUT_VALUE


_WITHOUT_VALUE = frozenset(
    {Reason.OPEN_CIRCUIT, Reason.COLD_JUNCTION_MISSING, Reason.LOOP_FAULT, Reason.COUNTER_RESTART}
)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading; `value` is None where no engineering value can be given."""

    time: int
    value: float | None
    raw: float
    quality: Quality
    reason: Reason
    plant: int


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """n readings of one channel, in ascending time unless said otherwise.

    `time` int64 [n] µs; `value` float64 [n] in the channel's engineering unit, finite (0.0 where
    the reason leaves no value); `raw` float64 [n] as it came, finite; `quality`, `reason`
    uint8 [n]; `plant` uint32 [n], the plant-file version under which the reading was converted.
    """

    time: Int64
    value: Float64
    raw: Float64
    quality: UInt8
    reason: UInt8
    plant: UInt32

    def __len__(self) -> int:
        """Count the readings."""
        return len(self.time)

    @classmethod
    def empty(cls) -> Self:
        """Give columns with no reading."""
        return cls.of([])

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> Self:
        """Build columns from single readings, in the order given."""
        rows = list(readings)
        return cls(
            np.array([r.time for r in rows], np.int64),
            np.array([0.0 if r.value is None else r.value for r in rows], np.float64),
            np.array([r.raw for r in rows], np.float64),
            np.array([r.quality for r in rows], np.uint8),
            np.array([r.reason for r in rows], np.uint8),
            np.array([r.plant for r in rows], np.uint32),
        )

    def take(self, index: npt.NDArray[np.intp] | npt.NDArray[np.bool_] | slice) -> "Columns":
        """Pick rows by index array, mask or slice."""
        return Columns(
            self.time[index],
            self.value[index],
            self.raw[index],
            self.quality[index],
            self.reason[index],
            self.plant[index],
        )

    def row(self, i: int) -> Reading:
        """Give row i as a single reading."""
        reason = Reason(int(self.reason[i]))
        quality = Quality(int(self.quality[i]))
        has_value = quality is not Quality.BAD or reason.has_value
        return Reading(
            int(self.time[i]),
            float(self.value[i]) if has_value else None,
            float(self.raw[i]),
            quality,
            reason,
            int(self.plant[i]),
        )

    @staticmethod
    def concat(parts: "Iterable[Columns]") -> "Columns":
        """Join columns end to end, in the order given."""
        rows = list(parts)
        if not rows:
            return Columns.empty()
        if len(rows) == 1:
            return rows[0]
        return Columns(
            np.concatenate([p.time for p in rows]),
            np.concatenate([p.value for p in rows]),
            np.concatenate([p.raw for p in rows]),
            np.concatenate([p.quality for p in rows]),
            np.concatenate([p.reason for p in rows]),
            np.concatenate([p.plant for p in rows]),
        )


class Joined(Mapping[ChannelId, Columns]):
    """Columns of k channels end to end: channel i owns rows `starts[i]` to `starts[i + 1]`.

    `names` [k], each once; `starts` int64 [k + 1]; no channel is empty. What is asked of all
    channels at once is asked of `rows`; the columns of each channel are views, made when wanted.
    """

    __slots__ = ("_parts", "names", "rows", "starts")

    def __init__(
        self,
        names: tuple[ChannelId, ...],
        starts: Int64,
        rows: Columns,
        parts: dict[ChannelId, Columns] | None = None,
    ) -> None:
        self.names, self.starts, self.rows, self._parts = names, starts, rows, parts

    @classmethod
    def of(cls, columns: Mapping[ChannelId, Columns]) -> Self:
        """Join columns into new arrays that nobody can write to; empty channels are left out.

        Raises ValueError on columns of another type or of unequal length.
        """
        parts = {name: rows for name, rows in columns.items() if len(rows.time)}
        rows = list(parts.values())
        lengths = [len(c.time) for c in rows]
        starts = np.zeros(len(parts) + 1, np.int64)
        np.cumsum(lengths, out=starts[1:])
        joined = Columns(
            _joined("time", [c.time for c in rows], lengths),
            _joined("value", [c.value for c in rows], lengths),
            _joined("raw", [c.raw for c in rows], lengths),
            _joined("quality", [c.quality for c in rows], lengths),
            _joined("reason", [c.reason for c in rows], lengths),
            _joined("plant", [c.plant for c in rows], lengths),
        )
        return cls(tuple(parts), starts, joined, parts)

    def __getitem__(self, name: ChannelId) -> Columns:
        """Give the columns of a channel."""
        return self._by_name()[name]

    def __iter__(self) -> Iterator[ChannelId]:
        """Walk the channels."""
        return iter(self.names)

    def __len__(self) -> int:
        """Count the channels."""
        return len(self.names)

    def items(self) -> ItemsView[ChannelId, Columns]:
        """Walk the channels with their columns."""
        return self._by_name().items()

    def values(self) -> ValuesView[Columns]:
        """Walk the columns of the channels."""
        return self._by_name().values()

    def _by_name(self) -> dict[ChannelId, Columns]:
        if self._parts is None:
            bounds = pairwise(self.starts.tolist())
            self._parts = {
                name: self.rows.take(slice(a, b))
                for name, (a, b) in zip(self.names, bounds, strict=True)
            }
        return self._parts


def _joined(field: str, parts: list[npt.NDArray[Any]], lengths: list[int]) -> npt.NDArray[Any]:
    """Join arrays of one column. Bytes join faster than numpy concatenates many short arrays."""
    dtype = COLUMN_TYPES[field]
    if [part.dtype for part in parts].count(dtype) != len(parts):
        raise ValueError(f"a column {field!r} is not {dtype}")
    if list(map(len, parts)) != lengths:
        raise ValueError(f"a column {field!r} differs in length from its times")
    buffers: Any = parts
    try:
        return np.frombuffer(b"".join(buffers), dtype)
    except (BufferError, TypeError, ValueError):  # some part is a view with gaps
        column = np.concatenate(parts)
        column.flags.writeable = False
        return column


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """What one commit brings: columns by channel, and the time of receipt in µs.

    Within one channel the rows may come in any order and repeat. `Joined` columns cost a store
    least; nobody may write to the arrays of a batch once it is handed on.
    """

    received: int
    columns: Mapping[ChannelId, Columns]

    def __len__(self) -> int:
        """Count the readings of all channels."""
        if isinstance(self.columns, Joined):
            return len(self.columns.rows)
        return sum(len(c) for c in self.columns.values())


@dataclass(frozen=True, slots=True, eq=False)
class Buckets:
    """n aligned buckets [start, end) of one channel; empty buckets are left out.

    `start`, `end` int64 [n] µs; `n` int64 [n] readings with a value that are not bad; `low`,
    `mean`, `high` float64 [n] over those, NaN where there is none; `quality` uint8 [n], the worst
    quality in the bucket.
    """

    start: Int64
    end: Int64
    n: Int64
    low: Float64
    mean: Float64
    high: Float64
    quality: UInt8

    def __len__(self) -> int:
        """Count the buckets."""
        return len(self.start)
