"""Equal buckets over [start, end), filled from readings and from summaries of stretches."""

import math
from dataclasses import dataclass, field

import numpy as np

from steadybead_collector.stores.exact import exact_mean
from steadybead_collector.stores.flat import TIME_LIMIT
from steadybead_collector.stores.summary import Summary, summarise_parts
from steadybead_domain.readings import Buckets, Columns


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
    parts: dict[int, Summary] = field(default_factory=dict)
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
        known = self.parts.get(i)
        self.parts[i] = part if known is None else known | part

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
        filled = ((rows.time[starts] - self.start) // self.width).tolist()
        for i, part in zip(filled, summarise_parts(rows, starts), strict=True):
            self.add(i, part)

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
        filled = sorted(self.parts)
        parts = [self.parts[i] for i in filled]
        begins = [self.begins.get(i, self.start + i * self.width) for i in filled]
        ends = [self.ends.get(i, min(self.start + (i + 1) * self.width, self.end)) for i in filled]
        return Buckets(
            np.array(begins, np.int64),
            np.array(ends, np.int64),
            np.array([p.n for p in parts], np.int64),
            np.array([p.low if p.n else math.nan for p in parts], np.float64),
            np.array([exact_mean(p.total, p.n) for p in parts], np.float64),
            np.array([p.high if p.n else math.nan for p in parts], np.float64),
            np.array([p.worst for p in parts], np.uint8),
        )
