"""Equal buckets over [start, end), filled from readings and from summaries of stretches."""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from steadybead_collector.stores.exact import exact_mean
from steadybead_collector.stores.flat import TIME_LIMIT
from steadybead_collector.stores.summary import Parts, Summary, summarise_parts
from steadybead_domain.readings import Buckets, Columns, Int64


@dataclass(slots=True)
class Filling:
    """Buckets being filled: bucket i is [start + i · width, … + width), cut at `end`.

    Where readings were forgotten, a stretch of which only a summary is left may lie across an
    edge. It counts in the bucket where it begins, and the edges give way: `begins` and `ends`
    hold what differs, so that every bucket still says exactly what lies between its edges.
    """

    start: int
    end: int
    width: int
    single: list[tuple[int, Summary]] = field(default_factory=list)
    many: list[tuple[Int64, Parts]] = field(default_factory=list)
    begins: dict[int, int] = field(default_factory=dict)
    ends: dict[int, int] = field(default_factory=dict)

    @classmethod
    def over(cls, start: int, end: int, points: int) -> "Filling":
        """Divide [start, end) in at most `points` buckets; raise ValueError if points < 1."""
        if points < 1:
            raise ValueError("ask for at least one point")
        start, end = max(start, -TIME_LIMIT), min(end, TIME_LIMIT + 1)
        return cls(start, end, max(1, -((start - end) // points)))

    def index(self, time: int) -> int:
        """Give the bucket of a time."""
        return (time - self.start) // self.width

    def add(self, i: int, part: Summary) -> None:
        """Merge a summary into bucket i."""
        self.single.append((i, part))

    def add_parts(self, places: Int64, parts: Parts) -> None:
        """Merge summaries [m] into the buckets `places` int64 [m]."""
        self.many.append((places, parts))

    def add_rows(self, rows: Columns) -> None:
        """Merge readings, in ascending time and all inside [start, end)."""
        if not len(rows):
            return
        first, last = self.index(int(rows.time[0])), self.index(int(rows.time[-1]))
        if (last - first) * 8 < len(rows):
            edges = [self.start + i * self.width for i in range(first + 1, last + 1)]
            starts = np.unique(np.concatenate(([0], np.searchsorted(rows.time, edges))))
        else:
            place = (rows.time - self.start) // self.width
            starts = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
        places = (rows.time[starts] - self.start) // self.width
        self.add_parts(places, summarise_parts(rows, starts))

    def add_window(self, low: int, high: int, part: Summary) -> None:
        """Merge the summary of [low, high), whose readings are gone, if it touches the interval."""
        if high <= self.start or low >= self.end:
            return
        if low < self.start or high > self.end or self.index(low) != self.index(high - 1):
            self.add_forgotten(low, high, part)
        else:
            self.add(self.index(low), part)

    def add_forgotten(self, low: int, high: int, part: Summary) -> None:
        """Merge a stretch [low, high) whose readings are gone."""
        first, last = max(0, self.index(low)), self.index(min(high, self.end) - 1)
        self.add(first, part)
        if low < self.start:
            self.begins[0] = low
        if first != last:
            self.begins[last] = high
        if high > min(self.start + (first + 1) * self.width, self.end):
            self.ends[first] = high

    def buckets(self) -> Buckets:
        """Give the buckets that hold a reading."""
        places, parts = self._merged()
        begins = self.start + places * self.width
        ends = np.minimum(begins + self.width, self.end)
        for edges, moved in ((begins, self.begins), (ends, self.ends)):
            for i, edge in moved.items():
                edges[places == i] = edge
        empty = parts.n == 0
        return Buckets(
            begins,
            ends,
            parts.n,
            np.where(empty, np.nan, parts.low),
            np.array(list(map(exact_mean, parts.total, parts.n.tolist())), np.float64),
            np.where(empty, np.nan, parts.high),
            parts.worst.astype(np.uint8),
        )

    def _merged(self) -> tuple[Int64, Parts]:
        """Give the buckets that hold something, in order, and all that each holds as one part."""
        single = [part for _, part in self.single]
        many = [*self.many, (np.array([i for i, _ in self.single], np.int64), Parts.of(single))]
        place = np.concatenate([places for places, _ in many])
        order = np.argsort(place, kind="stable")
        place = place[order]
        starts = np.flatnonzero(np.diff(place, prepend=place[:1] - 1))
        if not len(starts):
            return place, many[-1][1]
        totals = [total for _, parts in many for total in parts.total]
        ordered = [totals[i] for i in order.tolist()]
        bounds = pairwise([*starts.tolist(), len(ordered)])

        def column(name: str) -> npt.NDArray[Any]:
            joined: npt.NDArray[Any] = np.concatenate([getattr(parts, name) for _, parts in many])
            return joined[order]

        return place[starts], Parts(
            np.add.reduceat(column("count"), starts),
            np.add.reduceat(column("n"), starts),
            np.minimum.reduceat(column("low"), starts),
            np.maximum.reduceat(column("high"), starts),
            [sum(ordered[a:b]) for a, b in bounds],
            np.maximum.reduceat(column("worst"), starts),
        )
