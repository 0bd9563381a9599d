"""Filling buckets from daily and hourly rollups, window summaries and, at the edges, readings."""

from collections.abc import Sequence
from itertools import compress, pairwise
from typing import Any

import numpy as np

from steadybead_collector.stores.buckets import Filling
from steadybead_collector.stores.exact import read_totals
from steadybead_collector.stores.packed import Chunk, unpack
from steadybead_collector.stores.summary import Parts, Summary, summarise_good
from steadybead_collector.stores.trace import View, in_time_order
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.readings import Int64, Quality
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
_CHUNKS = "SELECT data FROM chunk WHERE id IN (SELECT value FROM json_each(?))"
_NEEDED = ("value", "quality", "reason")
_GATHERED = 8  # the arrays of many more do not stay in the cache of one core
_FEW = 8  # edges in a window up to which each is looked for in the times


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
        self.gathered: list[int] = []
        self.good = True

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
        """Add the readings of the chunks gathered so far."""
        if not self.gathered:
            return
        found = self.view.connection.execute(_CHUNKS, (str(self.gathered),))
        chunks = [data for (data,) in found]
        filling = self.filling
        if self.good and filling.width * _FEW >= WINDOW:
            add_good(filling, chunks)
        else:
            rows = unpack(chunks, filling.start, filling.end, _NEEDED)
            filling.add_rows(in_time_order(rows))
        self.gathered, self.good = [], True

    def _windows(self, first: int, last: int) -> None:
        rows = self.view.connection.execute(_WINDOWS, (self.view.channel, first, last)).fetchall()
        cut = self._add_whole(WINDOW, rows)
        forgotten = {row[0] for row in cut if row[-1] is None}
        for window, *totals, chunk in cut:
            if window in forgotten:
                begin = window * WINDOW
                self.filling.add_forgotten(begin, begin + WINDOW, Summary.of_row(totals))
            else:
                count, n, *_, worst = totals
                self.good &= n == count and worst == Quality.GOOD
                self.gathered.append(chunk)
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
        chosen = list(compress(rows, whole.tolist()))
        if chosen:
            filling.add_parts(*_merged(place[whole], chosen))
        return list(compress(rows, (~whole).tolist()))


def _merged(place: Int64, rows: Sequence[tuple[Any, ...]]) -> tuple[Int64, Parts]:
    """Merge the summaries of rows that belong to one bucket; `place` [len(rows)] ascends."""
    _, count, n, low, high, total, worst, *_ = zip(*rows, strict=True)
    starts = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
    bounds = pairwise([*starts.tolist(), len(rows)])
    lows, highs = np.array(low, np.float64), np.array(high, np.float64)
    return place[starts], Parts(
        np.add.reduceat(np.array(count, np.int64), starts),
        np.add.reduceat(np.array(n, np.int64), starts),
        np.minimum.reduceat(np.where(np.isnan(lows), np.inf, lows), starts),
        np.maximum.reduceat(np.where(np.isnan(highs), -np.inf, highs), starts),
        [read_totals(total[a:b]) for a, b in bounds],
        np.maximum.reduceat(np.array(worst, np.uint8), starts),
    )


def add_good(filling: Filling, chunks: Sequence[bytes]) -> None:
    """Add the readings of chunks that are all good, where few edges cut each."""
    opened = [Chunk(data) for data in chunks]
    values = np.empty(sum(chunk.n for chunk in opened))
    places: list[int] = []
    starts: list[int] = []
    n = 0
    for chunk in opened:
        time = chunk.column("time")
        first, edges = _edges(filling, time.item(0) // WINDOW * WINDOW)
        low, *_, high = cuts = time.searchsorted(edges).tolist()
        for place, (a, b) in enumerate(pairwise(cuts), first):
            if a < b:
                places.append(place)
                starts.append(n + a - low)
        if low < high:
            chunk.write("value", values[n : n + high - low], slice(low, high))
            n += high - low
    if n:
        parts = summarise_good(values[:n], np.array(starts, np.int64))
        filling.add_parts(np.array(places, np.int64), parts)


def _edges(filling: Filling, begin: int) -> tuple[int, list[int]]:
    """Give the first bucket that a window touches, and the edges from its begin to its end."""
    low, high = max(filling.start, begin), min(filling.end, begin + WINDOW)
    first, last = filling.index(low), filling.index(high - 1)
    inner = (filling.start + i * filling.width for i in range(first + 1, last + 1))
    return first, [low, *inner, high]
