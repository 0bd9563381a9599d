"""Readings and buckets as columns of plain Python values, the same for every format."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from steadybead_api.figures import Figures
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Buckets, Columns, Float64, Int64, Quality, Reason, UInt8

if TYPE_CHECKING:
    import pyarrow as pa

STEP_ROWS = 20_000
Mask = np.ndarray[Any, np.dtype[np.bool_]]
_QUALITY = np.array([q.word for q in sorted(Quality)], dtype=object)
_REASON = np.array([Reason(i).text for i in range(max(Reason) + 1)], dtype=object)
_WITHOUT = np.array([not Reason(i).has_value for i in range(max(Reason) + 1)])


@cache
def moment() -> "pa.DataType":
    """Give the type of a time in a file; what only files need is loaded for a file."""
    import pyarrow as pa  # noqa: PLC0415

    return pa.timestamp("us", "UTC")


def _words(texts: npt.NDArray[np.object_], codes: UInt8) -> "pa.Array":
    import pyarrow as pa  # noqa: PLC0415

    return pa.array(texts.tolist()).take(pa.array(codes))


Table = dict[str, list[Any]]


@dataclass(frozen=True, slots=True)
class ReadingPart:
    """Some readings of one channel, for a file; `channel` is written where it is given."""

    columns: Columns
    unit: str
    channel: str | None = None

    def table(self) -> Table:
        """Give columns of plain values."""
        named = {} if self.channel is None else {"channel": [self.channel] * len(self.columns)}
        return {**named, **reading_table(self.columns, self.unit)}

    def arrow(self) -> "dict[str, pa.Array]":
        """Give the same columns as Arrow arrays."""
        import pyarrow as pa  # noqa: PLC0415

        rows, n = self.columns, len(self.columns)
        named = {} if self.channel is None else {"channel": pa.array([self.channel] * n)}
        return {
            **named,
            "time": pa.array(rows.time).cast(moment()),
            "value": pa.array(rows.value, mask=_absent(rows)),
            "unit": pa.array([self.unit] * n, pa.string()),
            "quality": _words(_QUALITY, rows.quality),
            "reason": _words(_REASON, rows.reason),
        }


@dataclass(frozen=True, slots=True)
class BucketPart:
    """All buckets of one channel, for a file."""

    buckets: Buckets

    def table(self) -> Table:
        """Give columns of plain values."""
        return bucket_table(self.buckets)

    def arrow(self) -> "dict[str, pa.Array]":
        """Give the same columns as Arrow arrays."""
        import pyarrow as pa  # noqa: PLC0415

        found = self.buckets
        absent = found.n == 0
        return {
            "start": pa.array(found.start).cast(moment()),
            "end": pa.array(found.end).cast(moment()),
            "n": pa.array(found.n),
            "min": pa.array(found.low, mask=absent),
            "mean": pa.array(found.mean, mask=absent),
            "max": pa.array(found.high, mask=absent),
            "quality": _words(_QUALITY, found.quality),
        }


def times(time_us: Int64) -> list[str]:
    """Write times as RFC 3339 in UTC with six decimals."""
    texts = np.datetime_as_string(time_us.astype("datetime64[us]"), unit="us")
    return [f"{text}Z" for text in texts.tolist()]


def shared_times(parts: Sequence[Int64]) -> list[list[str]]:
    """Write the times of several channels; a time that many have is written once."""
    if not parts:
        return []
    every = np.unique(np.concatenate(parts))
    texts = np.array(times(every), object)
    return [texts[np.searchsorted(every, part)].tolist() for part in parts]


def reading_table(columns: Columns, unit: str, written: list[str] | None = None) -> Table:
    """Give time, value, unit, quality and reason; `written` are its times as text."""
    return {
        "time": times(columns.time) if written is None else written,
        "value": _numbers(columns.value, _absent(columns)),
        "unit": [unit] * len(columns),
        "quality": _QUALITY[columns.quality].tolist(),
        "reason": _REASON[columns.reason].tolist(),
    }


def bucket_table(buckets: Buckets) -> Table:
    """Give start, end, n, min, mean, max and quality."""
    absent = buckets.n == 0
    return {
        "start": times(buckets.start),
        "end": times(buckets.end),
        "n": buckets.n.tolist(),
        "min": _numbers(buckets.low, absent),
        "mean": _numbers(buckets.mean, absent),
        "max": _numbers(buckets.high, absent),
        "quality": _QUALITY[buckets.quality].tolist(),
    }


def rows(table: Table) -> list[dict[str, Any]]:
    """Turn columns into rows."""
    return [dict(zip(table, row, strict=True)) for row in zip(*table.values(), strict=True)]


def first_rows(store: Figures, channel: ChannelId, start: int, end: int, limit: int) -> Columns:
    """Read at most `limit` readings from the start of [start, end)."""
    return _some_rows(store, channel, start, end, limit).take(slice(0, limit))


def steps(store: Figures, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
    """Walk [start, end) in bounded parts; between two parts the store is left alone."""
    while len(part := _some_rows(store, channel, start, end)):
        for i in range(0, len(part), STEP_ROWS):
            yield part.take(slice(i, i + STEP_ROWS))
        start = int(part.time[-1]) + 1


def _some_rows(
    store: Figures, channel: ChannelId, start: int, end: int, enough: int = STEP_ROWS
) -> Columns:
    parts: list[Columns] = []
    found = 0
    for part in store.read(channel, start, end):
        parts.append(part)
        found += len(part)
        if found >= enough:
            break
    return Columns.concat(parts)


def _absent(columns: Columns) -> Mask:
    return np.asarray((columns.quality == Quality.BAD) & _WITHOUT[columns.reason])


def _numbers(values: Float64, absent: Mask) -> list[float | None]:
    numbers: list[float | None] = values.tolist()
    for i in np.flatnonzero(absent).tolist():
        numbers[i] = None
    return numbers
