"""Filling buckets from daily and hourly rollups, window summaries and, at the edges, readings."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from steadybead_collector.stores.buckets import Filling
from steadybead_collector.stores.exact import read_total
from steadybead_collector.stores.packed import unpack
from steadybead_collector.stores.summary import Summary
from steadybead_collector.stores.trace import View, in_time_order
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.readings import Int64
from steadybead_domain.times import DAY, HOUR

_ROLLUPS = (
    "SELECT number, count, n, low, high, total, worst FROM rollup"
    " WHERE channel = ? AND hours = ? AND number BETWEEN ? AND ? ORDER BY number"
)
_WINDOWS = (
    "SELECT window, count, n, low, high, total, worst, chunk FROM window"
    " WHERE channel = ? AND window BETWEEN ? AND ? ORDER BY window, part"
)
_LEVELS = (DAY, HOUR, WINDOW)
_GATHERED = 32


def fill(view: View, filling: Filling) -> None:
    """Fill the buckets with all that the view holds between their ends."""
    if filling.start >= filling.end:
        return
    filling.add_rows(view.tail_between(filling.start, filling.end))
    level = next(
        (i for i, span in enumerate(_LEVELS) if filling.width >= 2 * span), len(_LEVELS) - 1
    )
    work = _Work(view, filling)
    span = _LEVELS[level]
    work.descend(level, filling.start // span, (filling.end - 1) // span)
    work.flush()


class _Work:
    """One filling: what a coarse level cannot give is asked of the next finer one."""

    def __init__(self, view: View, filling: Filling) -> None:
        self.view = view
        self.filling = filling
        self.gathered: list[bytes] = []

    def descend(self, level: int, first: int, last: int) -> None:
        """Fill from spans `first` to `last` of a level; finer ones where an edge cuts them."""
        span = _LEVELS[level]
        if span == WINDOW:
            self._windows(first, last)
            return
        bounds = (self.view.channel, span // HOUR, first, last)
        rows = self.view.connection.execute(_ROLLUPS, bounds).fetchall()
        finer = span // _LEVELS[level + 1]
        for number, *_ in self._add_whole(span, rows):
            self.descend(level + 1, number * finer, (number + 1) * finer - 1)

    def flush(self) -> None:
        """Add the readings gathered so far."""
        if self.gathered:
            rows = unpack(self.gathered, self.filling.start, self.filling.end, raw=False)
            self.filling.add_rows(in_time_order(rows))
        self.gathered = []

    def _windows(self, first: int, last: int) -> None:
        rows = self.view.connection.execute(_WINDOWS, (self.view.channel, first, last)).fetchall()
        cut = self._add_whole(WINDOW, rows)
        forgotten = {window for window, *_, chunk in cut if chunk is None}
        for window, *totals, chunk in cut:
            if window in forgotten:
                begin = window * WINDOW
                self.filling.add_forgotten(begin, begin + WINDOW, Summary.of_row(totals))
            else:
                self._gather(chunk)

    def _gather(self, chunk: int) -> None:
        found = self.view.connection.execute("SELECT data FROM chunk WHERE id = ?", (chunk,)).get
        self.gathered.append(found)
        if len(self.gathered) >= _GATHERED:
            self.flush()

    def _add_whole(self, span: int, rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
        """Add the spans that lie inside one bucket; give back those that an edge cuts."""
        if not rows:
            return []
        filling = self.filling
        begin = np.array([row[0] for row in rows], np.int64) * span
        place = (begin - filling.start) // filling.width
        whole = (begin + (span - 1) - filling.start) // filling.width == place
        whole &= (begin >= filling.start) & (begin + span <= filling.end)
        chosen = [row for row, take in zip(rows, whole.tolist(), strict=True) if take]
        if chosen:
            _add(filling, place[whole], chosen)
        return [row for row, take in zip(rows, whole.tolist(), strict=True) if not take]


def _add(filling: Filling, place: Int64, rows: Sequence[tuple[Any, ...]]) -> None:
    """Add summaries to the buckets `place` int64 [len(rows)], which ascend."""
    _, count, n, low, high, total, worst, *_ = zip(*rows, strict=True)
    starts = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
    bounds = [*starts.tolist(), len(rows)]
    sums = [sum(map(read_total, total[a:b])) for a, b in pairwise(bounds)]
    lows, highs = np.array(low, np.float64), np.array(high, np.float64)
    columns = (
        np.add.reduceat(np.array(count, np.int64), starts),
        np.add.reduceat(np.array(n, np.int64), starts),
        np.minimum.reduceat(np.where(np.isnan(lows), np.inf, lows), starts),
        np.maximum.reduceat(np.where(np.isnan(highs), -np.inf, highs), starts),
    )
    worsts = np.maximum.reduceat(np.array(worst, np.uint8), starts)
    parts = map(Summary, *(c.tolist() for c in columns), sums, worsts.tolist())
    for i, part in zip(place[starts].tolist(), parts, strict=True):
        filling.add(i, part)
