"""Equal buckets over [start, end), filled from summaries of stretches."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from steadybead_collector.stores.exact import exact_mean
from steadybead_collector.stores.flat import TIME_LIMIT
from steadybead_collector.stores.summary import Summary, summarise_parts
from steadybead_domain.readings import Buckets, Columns


@dataclass(slots=True)
class Filling:
    """Buckets being filled: bucket i is [start + i · width, … + width), cut at `end`."""

    start: int
    end: int
    width: int
    parts: dict[int, Summary] = field(default_factory=dict)

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
        place = (rows.time - self.start) // self.width
        starts = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
        for i, part in zip(place[starts].tolist(), summarise_parts(rows, starts), strict=True):
            self.add(i, part)

    def buckets(self) -> Buckets:
        """Give the buckets that hold a reading."""
        filled = sorted(self.parts)
        parts = [self.parts[i] for i in filled]
        start = np.array([self.start + i * self.width for i in filled], np.int64)
        return Buckets(
            start,
            np.minimum(start + self.width, self.end),
            np.array([p.n for p in parts], np.int64),
            np.array([p.low if p.n else math.nan for p in parts], np.float64),
            np.array([exact_mean(p.total, p.n) for p in parts], np.float64),
            np.array([p.high if p.n else math.nan for p in parts], np.float64),
            np.array([p.worst for p in parts], np.uint8),
        )


def buckets_of(parts: Iterable[Columns], start: int, end: int, points: int) -> Buckets:
    """Summarise readings, ascending inside each part, in at most `points` buckets."""
    filling = Filling.over(start, end, points)
    for rows in parts:
        filling.add_rows(rows)
    return filling.buckets()
