"""Time in which a gun was hot and no weld record ran: work that nobody can look up later."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np

from steadybead_domain.readings import Buckets
from steadybead_domain.times import MINUTE

HOT_BELOW_WINDOW_C: Final = 30.0  # project assumption: nearer than that is heat to weld with
HOT_WITHOUT_WINDOW_C: Final = 250.0  # project assumption
SHORTEST: Final = 2 * MINUTE  # project assumption: a gun may wait hot as long between two records
Stretch = tuple[int, int]
"""A stretch of time, [start, end) in µs."""


def hot_stretches(
    nozzle: Buckets, threshold_c: float, in_stand: Buckets | None = None
) -> list[Stretch]:
    """Join the buckets in which the nozzle was hot on the mean, and the gun not in its stand.

    A bucket without readings is not hot. `in_stand` has buckets of the same times (1: in it).
    """
    hot = (nozzle.n > 0) & (nozzle.mean >= threshold_c)
    if in_stand is not None and len(in_stand) == len(nozzle):
        hot &= ~((in_stand.n > 0) & (in_stand.mean > 0.5))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], hot.astype(np.int8), [0]])))
    pairs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    found = [(int(nozzle.start[a]), int(nozzle.end[b - 1])) for a, b in pairs]
    return list(_joined(found))


def unrecorded(
    hot: Iterable[Stretch], recorded: Iterable[Stretch], shortest_us: int = SHORTEST
) -> list[Stretch]:
    """Give the parts of the hot stretches that no record covers, if they last long enough."""
    covered = list(_joined(sorted(recorded)))
    left = [part for stretch in hot for part in _outside(stretch, covered)]
    return [part for part in left if part[1] - part[0] >= shortest_us]


def _outside(stretch: Stretch, covered: Sequence[Stretch]) -> Iterator[Stretch]:
    start, end = stretch
    for first, last in covered:
        if last <= start:
            continue
        if first >= end:
            break
        if first > start:
            yield start, first
        start = max(start, last)
    if start < end:
        yield start, end


def _joined(stretches: Iterable[Stretch]) -> Iterator[Stretch]:
    """Join stretches that touch or overlap; they come by their start."""
    held: Stretch | None = None
    for start, end in stretches:
        if held is not None and start <= held[1]:
            held = (held[0], max(held[1], end))
            continue
        if held is not None:
            yield held
        held = (start, end)
    if held is not None:
        yield held
