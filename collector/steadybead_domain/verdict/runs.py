"""Runs: the stretches of welding inside a record, from a stand contact or a motion channel."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from steadybead_domain.readings import Columns, Quality
from steadybead_domain.times import SECOND
from steadybead_domain.verdict.model import Run

# project assumptions: a shorter stretch is no run, a shorter pause of the motion is none
SHORTEST_RUN: Final = 1 * SECOND
MOTION_PAUSE: Final = 3 * SECOND
BY_STAND: Final = "the runs that the stand contact shows"
BY_MOTION: Final = "the runs that the motion channel shows"
WHOLE_RECORD: Final = "the whole record: no stand contact and no motion channel"


def find_runs(
    start: int, stop: int, stand: Columns | None = None, motion: Columns | None = None
) -> tuple[tuple[Run, ...], str]:
    """Give the runs in [start, stop), and what they were found by.

    `stand` is 1 while the gun hangs in its stand, `motion` 1 while it moves; both may be sent on
    change only, so the last value holds. Without any of them the whole record is one run.
    """
    if stand is not None and len(stand):
        found = _where(start, stop, stand, held=0.0, wanted_above=False, pause=0)
        return found, BY_STAND
    if motion is not None and len(motion):
        found = _where(start, stop, motion, held=1.0, wanted_above=True, pause=MOTION_PAUSE)
        return found, BY_MOTION
    return (Run(start, stop),), WHOLE_RECORD


def _where(
    start: int, stop: int, columns: Columns, *, held: float, wanted_above: bool, pause: int
) -> tuple[Run, ...]:
    """Find where the last value that is not bad is above (or not above) one half."""
    sound = columns.take(columns.quality < Quality.BAD)
    before = sound.value[sound.time <= start]
    inside = sound.take((sound.time > start) & (sound.time < stop))
    first = float(before[-1]) if len(before) else held
    times = np.concatenate(([start], inside.time, [stop]))
    wanted = (np.concatenate(([first], inside.value)) > 0.5) == wanted_above
    pieces = [
        (int(times[i]), int(times[i + 1]))
        for i in np.flatnonzero(wanted)
        if times[i] < times[i + 1]
    ]
    return tuple(Run(a, b) for a, b in _joined(pieces, pause) if b - a >= SHORTEST_RUN)


def _joined(pieces: Sequence[tuple[int, int]], pause: int) -> list[tuple[int, int]]:
    joined: list[tuple[int, int]] = []
    for begin, end in pieces:
        if joined and begin - joined[-1][1] <= pause:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    return joined
