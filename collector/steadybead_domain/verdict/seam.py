"""Where on the seam: from time in the record to mm from the seam's start, with a ±."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from steadybead_domain.procedures import Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Float64
from steadybead_domain.times import SECOND
from steadybead_domain.verdict.curve import good_curve
from steadybead_domain.verdict.model import Excursion, Run, SeamBasis, SeamMap, SeamStretch


@dataclass(frozen=True, slots=True)
class SeamAssumptions:
    """± half-widths taken for granted; project assumptions all, no source.

    `start_error_s`: how far the record's start and stop may be from the bead's;
    `hand_speed_share`: how far the hand's speed may be from its mean for a while;
    `heat_lag_s`, `flow_lag_s`: how late the readings follow; `speed_channel_share`: the error of
    a travel speed channel.
    """

    start_error_s: float = 2.0
    hand_speed_share: float = 0.15
    heat_lag_s: float = 3.0
    flow_lag_s: float = 1.0
    speed_channel_share: float = 0.03


DEFAULT_SEAM = SeamAssumptions()


@dataclass(frozen=True, slots=True, eq=False)
class SeamFacts:
    """What is known of the way along the seam. `speed` is a travel speed channel in mm/min."""

    length_mm: float | None = None
    beads: int | None = None
    procedure_speed: Window | None = None
    speed: Columns | None = None
    silence_us: int = 30 * SECOND


@dataclass(frozen=True, slots=True, eq=False)
class _Way:
    """Way over welding time: `knot_s` and `knot_mm` [n]; `share` is the doubt of the speed."""

    basis: SeamBasis
    runs: Sequence[Run]
    beads: int
    knot_s: Float64
    knot_mm: Float64
    share: float
    anchored: bool

    @property
    def whole_mm(self) -> float:
        return float(self.knot_mm[-1])

    @property
    def mm_s(self) -> float:
        return self.whole_mm / float(self.knot_s[-1])

    def at(self, time: int) -> float:
        """Give the way at a time; between runs the gun stands still."""
        welded = sum(min(max(time - r.start, 0), r.end - r.start) for r in self.runs) / SECOND
        return float(np.interp(welded, self.knot_s, self.knot_mm))

    def give(self, way_mm: float, lag_s: float, taken: SeamAssumptions) -> float:
        """Give the ± of a place, about 95 %: rectangular half-widths, root of squares, k = 2."""
        start = self.mm_s * taken.start_error_s
        done = way_mm / self.whole_mm
        if self.anchored:
            ends = math.hypot(start * (1.0 - done), start * done)
            hand = self.share * min(way_mm, self.whole_mm - way_mm)
        else:
            ends, hand = start, self.share * way_mm
        lag = self.mm_s * lag_s
        return 2.0 * math.sqrt((ends**2 + hand**2 + lag**2) / 3.0)


def seam_map(
    excursions: Sequence[Excursion],
    runs: Sequence[Run],
    facts: SeamFacts,
    taken: SeamAssumptions = DEFAULT_SEAM,
) -> SeamMap | None:
    """Place excursions on the seam; None where neither length nor speed is known."""
    way = _way(runs, facts, taken)
    if way is None or way.whole_mm <= 0.0:
        return None
    length = way.whole_mm / way.beads
    stretches = [
        piece
        for number, excursion in enumerate(excursions)
        for piece in _pieces(number, excursion, way, length, taken)
    ]
    words = _words(way, taken)
    return SeamMap(length, 60.0 * way.mm_s, way.basis, way.beads, tuple(stretches), words)


def _way(runs: Sequence[Run], facts: SeamFacts, taken: SeamAssumptions) -> _Way | None:
    total_s = sum(r.end - r.start for r in runs) / SECOND
    if total_s <= 0.0:
        return None
    beads = max(facts.beads or 1, 1)
    known_mm = None if facts.length_mm is None else facts.length_mm * beads
    walked = None if facts.speed is None else _walked(runs, facts.speed, facts.silence_us)
    straight = np.array([0.0, total_s])
    if walked is not None:
        knot_s, knot_mm = walked
        scale = 1.0 if known_mm is None else known_mm / float(knot_mm[-1])
        share = taken.speed_channel_share
        basis = SeamBasis.SPEED_CHANNEL
        return _Way(basis, runs, beads, knot_s, knot_mm * scale, share, known_mm is not None)
    if known_mm is not None:
        way = np.array([0.0, known_mm])
        return _Way(SeamBasis.LENGTH, runs, beads, straight, way, taken.hand_speed_share, True)
    window = facts.procedure_speed
    if window is None or window.low is None or window.high is None or window.unit != "mm/min":
        return None
    middle = (window.low + window.high) / 2.0
    half = (window.high - window.low) / (window.high + window.low)
    way = np.array([0.0, middle / 60.0 * total_s])
    share = math.hypot(half, taken.hand_speed_share)
    return _Way(SeamBasis.PROCEDURE_SPEED, runs, beads, straight, way, share, False)


def _walked(runs: Sequence[Run], speed: Columns, silence_us: int) -> tuple[Float64, ...] | None:
    """Sum the speed over the runs second by second; None if a tenth of the time lacks it."""
    curve = good_curve(speed, silence_us)
    knots_s, knots_mm = [0.0], [0.0]
    missing_s = 0.0
    for run in runs:
        edges = np.append(np.arange(run.start, run.end, SECOND), run.end)
        means, covered = curve.means(edges)
        lengths = np.diff(edges) / SECOND
        missing_s += float((lengths - covered).sum())
        steps = np.where(np.isnan(means), 0.0, np.maximum(means, 0.0)) / 60.0 * lengths
        knots_s += list(knots_s[-1] + np.cumsum(lengths))
        knots_mm += list(knots_mm[-1] + np.cumsum(steps))
    if missing_s > 0.1 * knots_s[-1] or knots_mm[-1] <= 0.0:
        return None
    return np.array(knots_s), np.array(knots_mm)


def _pieces(
    number: int, excursion: Excursion, way: _Way, length: float, taken: SeamAssumptions
) -> list[SeamStretch]:
    """Cut the way of an excursion at the ends of the beads."""
    heat = excursion.quantity is Quantity.NOZZLE_TEMPERATURE
    lag_s = taken.heat_lag_s if heat else taken.flow_lag_s
    first, last = way.at(excursion.start), way.at(excursion.end)
    pieces = []
    for bead in range(way.beads):
        low, high = bead * length, (bead + 1) * length
        begin, end = max(first, low), min(last, high)
        if begin < end or (first == last and low <= first < high):
            gives = [way.give(x, lag_s, taken) for x in (begin, end)]
            place = SeamStretch(number, bead + 1, begin - low, end - low, gives[0], gives[1])
            pieces.append(place)
    return pieces


def _words(way: _Way, taken: SeamAssumptions) -> tuple[str, ...]:
    give = (
        f"± of about 95 %: start and stop of the record ± {taken.start_error_s:g} s, speed of the"
        f" hand ± {100 * way.share:.2g} %, readings up to {taken.heat_lag_s:g} s late (heat) or"
        f" {taken.flow_lag_s:g} s (air)"
    )
    words = [
        f"places from the {way.basis.value}, {_speed(60.0 * way.mm_s)} mm/min on the mean",
        give,
        "measured from where the record began; which end of the seam that is, the log cannot tell",
    ]
    if way.beads > 1:
        words.append(
            f"{way.beads} beads taken as equally long, each laid from the same end; which bead an"
            " excursion lies in is as sure as that"
        )
    return tuple(words)


def _speed(mm_min: float) -> str:
    return f"{mm_min:.0f}" if mm_min >= 100.0 else f"{mm_min:.3g}"
