"""What is kept of a stretch of readings: numbers that can be merged without loss."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from steadybead_collector.stores.exact import exact_sums, read_total, write_total
from steadybead_domain.readings import Columns, Float64, Int64, Quality, Reason

_VALUED = np.array([Reason(i).has_value for i in range(max(Reason) + 1)])


@dataclass(frozen=True, slots=True)
class Summary:
    """`count` readings, of them `n` not bad and with a value; `low`, `high` and `total` of those.

    `total` counts 2^-1074 (see `exact`); `low` and `high` are infinite where n is 0; `worst` is
    the worst quality number of all `count`.
    """

    count: int
    n: int
    low: float
    high: float
    total: int
    worst: int

    def __or__(self, other: "Summary") -> "Summary":
        """Merge with the summary of other readings."""
        return Summary(
            self.count + other.count,
            self.n + other.n,
            min(self.low, other.low),
            max(self.high, other.high),
            self.total + other.total,
            max(self.worst, other.worst),
        )

    def row(self) -> tuple[int, int, float | None, float | None, bytes, int]:
        """Give count, n, low, high, total and worst as they stand in a table."""
        low, high = (self.low, self.high) if self.n else (None, None)
        return (self.count, self.n, low, high, write_total(self.total), self.worst)

    @classmethod
    def of_row(cls, row: Sequence[Any]) -> "Summary":
        """Read count, n, low, high, total and worst from a table."""
        count, n, low, high, total, worst = row
        if not n:
            low, high = math.inf, -math.inf
        return cls(count, n, low, high, read_total(total), worst)


NOTHING = Summary(0, 0, float("inf"), float("-inf"), 0, 0)


def counted(rows: Columns) -> npt.NDArray[np.bool_]:
    """Tell which readings count in low, mean and high: not bad, and with a value."""
    good: npt.NDArray[np.bool_] = (rows.quality != Quality.BAD) & _VALUED[rows.reason]
    return good


def summarise(rows: Columns) -> Summary:
    """Summarise readings."""
    if not len(rows):
        return NOTHING
    return next(iter(summarise_parts(rows, np.zeros(1, np.int64)).summaries()))


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """Summaries of m parts as columns [m]; `total` counts 2^-1074, low > high where n is 0."""

    count: Int64
    n: Int64
    low: Float64
    high: Float64
    total: list[int]
    worst: npt.NDArray[np.integer]

    @classmethod
    def of(cls, parts: Sequence[Summary]) -> Self:
        """Give summaries as columns."""
        return cls(
            np.array([p.count for p in parts], np.int64),
            np.array([p.n for p in parts], np.int64),
            np.array([p.low for p in parts], np.float64),
            np.array([p.high for p in parts], np.float64),
            [p.total for p in parts],
            np.array([p.worst for p in parts], np.int64),
        )

    def summaries(self) -> Iterable[Summary]:
        """Walk the summaries."""
        columns = (self.count, self.n, self.low, self.high)
        return map(Summary, *(c.tolist() for c in columns), self.total, self.worst.tolist())


def summarise_parts(rows: Columns, starts: Int64) -> Parts:
    """Summarise the parts of `rows` that begin at `starts` int64 [m]; no part is empty."""
    if not (rows.quality.any() or rows.reason.any()):
        return summarise_good(rows.value, starts)
    use = counted(rows)
    return Parts(
        np.diff(starts, append=len(rows)),
        np.add.reduceat(use, starts, dtype=np.int64),
        np.minimum.reduceat(np.where(use, rows.value, np.inf), starts),
        np.maximum.reduceat(np.where(use, rows.value, -np.inf), starts),
        exact_sums(np.where(use, rows.value, 0.0), starts),
        np.maximum.reduceat(rows.quality, starts),
    )


def summarise_good(value: Float64, starts: Int64) -> Parts:
    """Summarise values that are all good, in the parts that begin at `starts` int64 [m]."""
    count = np.diff(starts, append=len(value))
    low, high = np.minimum.reduceat(value, starts), np.maximum.reduceat(value, starts)
    totals = exact_sums(value, starts, (float(low.min()), float(high.max())))
    return Parts(count, count, low, high, totals, np.zeros(len(starts), np.uint8))
