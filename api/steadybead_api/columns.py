"""Readings and buckets as columns of plain Python values, the same for every format."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import ReadingsStore
from steadybead_domain.readings import Buckets, Columns, Float64, Int64, Quality, Reason

STEP_ROWS = 20_000
_QUALITY = np.array([q.word for q in sorted(Quality)], dtype=object)
_REASON = np.array([Reason(i).text for i in range(max(Reason) + 1)], dtype=object)
_WITHOUT = np.array([not Reason(i).has_value for i in range(max(Reason) + 1)])

Table = dict[str, list[Any]]


def times(time_us: Int64) -> list[str]:
    """Write times as RFC 3339 in UTC with six decimals."""
    texts = np.datetime_as_string(time_us.astype("datetime64[us]"), unit="us")
    return [f"{text}Z" for text in texts.tolist()]


def reading_table(columns: Columns, unit: str) -> Table:
    """Give time, value, unit, quality and reason."""
    absent = (columns.quality == Quality.BAD) & _WITHOUT[columns.reason]
    return {
        "time": times(columns.time),
        "value": _numbers(columns.value, absent),
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


def first_rows(
    store: ReadingsStore, channel: ChannelId, start: int, end: int, limit: int
) -> Columns:
    """Read at most `limit` readings from the start of [start, end)."""
    parts: list[Columns] = []
    found = 0
    for part in store.read(channel, start, end):
        parts.append(part)
        found += len(part)
        if found >= limit:
            break
    return Columns.concat(parts).take(slice(0, limit))


def steps(store: ReadingsStore, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
    """Walk [start, end) in bounded parts; between two parts the store is left alone."""
    while len(part := first_rows(store, channel, start, end, STEP_ROWS)):
        yield part
        start = int(part.time[-1]) + 1


def _numbers(values: Float64, absent: np.ndarray[Any, np.dtype[np.bool_]]) -> list[float | None]:
    numbers: list[float | None] = values.tolist()
    for i in np.flatnonzero(absent).tolist():
        numbers[i] = None
    return numbers
