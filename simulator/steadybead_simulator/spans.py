"""Stretches of time: when the blower runs, when the heat is on, when a rod is laid."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from steadybead_domain.readings import Float64

Mask = npt.NDArray[np.bool_]


@dataclass(slots=True)
class Spans:
    """Ascending stretches [start, end) in s since the scenario's start; they may touch."""

    pairs: list[tuple[float, float]] = field(default_factory=list)

    def add(self, start: float, end: float) -> None:
        """Add a stretch; one that begins before the last has ended is joined to it."""
        if end <= start:
            return
        if self.pairs and start <= self.pairs[-1][1]:
            first, last = self.pairs[-1]
            self.pairs[-1] = (min(first, start), max(last, end))
        else:
            self.pairs.append((start, end))

    def at(self, t: Float64) -> Mask:
        """Tell for each of the times t [n], ascending, whether it lies in a stretch."""
        mask: Mask = np.zeros(len(t), np.bool_)
        if len(t) == 0:
            return mask
        for start, end in self.pairs:
            if end > t[0] and start <= t[-1]:
                mask[np.searchsorted(t, start) : np.searchsorted(t, end)] = True
        return mask


def union(many: Iterable[Spans]) -> Spans:
    """Join several into one."""
    joined = Spans()
    for start, end in sorted(pair for spans in many for pair in spans.pairs):
        joined.add(start, end)
    return joined
