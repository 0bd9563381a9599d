"""Stretches of readings outside the window: start, length, peak, area."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from steadybead_domain.ids import ChannelId
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import SECOND
from steadybead_domain.verdict.curve import Curve
from steadybead_domain.verdict.model import Average, Excursion, Place, Run, Side
from steadybead_domain.verdict.rule import Guarded

MOST_LISTED: Final = 200


@dataclass(frozen=True, slots=True)
class Measured:
    """Which channel a curve is of."""

    quantity: Quantity
    channel: ChannelId
    unit: str


def find_excursions(
    curve: Curve,
    runs: Sequence[Run],
    guarded: Guarded,
    measured: Measured,
    averages: Sequence[Average],
    join_s: float,
) -> list[Excursion]:
    """List what lies outside the window inside the runs, by start."""
    sides = ((Side.BELOW, guarded.low), (Side.ABOVE, guarded.high))
    found = [
        excursion
        for run in runs
        for side, limit in sides
        if limit is not None
        for excursion in _of_side(
            curve.within(run.start, run.end), side, limit, measured, averages, join_s
        )
    ]
    return sorted(found, key=lambda e: (e.start, e.side))


def largest(found: Sequence[Excursion], most: int = MOST_LISTED) -> list[Excursion]:
    """Keep the `most` with the largest area, by start."""
    kept = sorted(found, key=lambda e: -e.area)[:most]
    return sorted(kept, key=lambda e: (e.start, e.side))


def _of_side(
    curve: Curve,
    side: Side,
    limit: float,
    measured: Measured,
    averages: Sequence[Average],
    join_s: float,
) -> list[Excursion]:
    beyond = limit - curve.value if side is Side.BELOW else curve.value - limit
    rows = np.flatnonzero(beyond > 0.0)
    if not len(rows):
        return []
    pause = curve.start[rows[1:]] - curve.end[rows[:-1]]
    groups = np.split(rows, np.flatnonzero(pause > join_s * SECOND) + 1)
    seconds = curve.seconds()
    return [
        _excursion(curve, group, beyond * seconds, side, limit, measured, averages)
        for group in groups
    ]


def _excursion(
    curve: Curve,
    rows: npt.NDArray[np.intp],
    area: Float64,
    side: Side,
    limit: float,
    measured: Measured,
    averages: Sequence[Average],
) -> Excursion:
    start, end = int(curve.start[rows[0]]), int(curve.end[rows[-1]])
    values = curve.value[rows]
    certain = any(
        a.place is Place.OUTSIDE
        and a.start < end
        and a.end > start
        and a.mean is not None
        and (a.mean < limit) == (side is Side.BELOW)
        for a in averages
    )
    return Excursion(
        measured.quantity,
        measured.channel,
        side,
        start,
        end,
        float(values.min() if side is Side.BELOW else values.max()),
        limit,
        float(area[rows].sum()),
        measured.unit,
        certain,
    )
