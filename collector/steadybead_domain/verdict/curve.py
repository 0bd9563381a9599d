"""Good readings of one channel as steps over time, and their means."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from steadybead_domain.readings import Columns, Float64, Int64, Quality
from steadybead_domain.times import SECOND

SHORTEST_GAP: Final = 2 * SECOND
USUAL_SPACINGS: Final = 10


def gap_us(time: Int64, silence_us: int) -> int:
    """Tell how long a pause is a gap: ten usual spacings, 2 s at least, `silence_us` at most."""
    if len(time) < 3:
        return silence_us
    usual = int(np.median(np.diff(time)))
    return min(max(USUAL_SPACINGS * usual, SHORTEST_GAP), silence_us)


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """n steps of good readings: `value` float64 [n] holds in [start, end) µs, int64 [n].

    The steps ascend and never overlap.
    """

    start: Int64
    end: Int64
    value: Float64

    def __len__(self) -> int:
        """Count the steps."""
        return len(self.start)

    def within(self, start: int, end: int) -> "Curve":
        """Cut to a stretch."""
        rows = (self.end > start) & (self.start < end)
        return Curve(
            np.maximum(self.start[rows], start), np.minimum(self.end[rows], end), self.value[rows]
        )

    def means(self, edges: Int64) -> tuple[Float64, Float64]:
        """Give time-weighted mean and covered seconds between neighbours of `edges` [m + 1].

        The mean is NaN where nothing is covered.
        """
        if not len(self):
            nothing = np.zeros(len(edges) - 1)
            return np.full(len(edges) - 1, np.nan), nothing
        covered = np.diff(self._integral(np.ones(len(self)), edges))
        near = float(self.value[0])  # sums of small differences keep their digits
        total = np.diff(self._integral(self.value - near, edges))
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.where(covered > 0.0, near + total / covered, np.nan)
        return mean, covered

    def seconds(self) -> Float64:
        """Give the length of each step."""
        return np.asarray((self.end - self.start) / SECOND, np.float64)

    def _integral(self, weight: Float64, at: Int64) -> Float64:
        origin = int(self.start[0])
        knots = np.column_stack((self.start, self.end)).ravel() - origin
        steps = weight * self.seconds()
        after = np.cumsum(steps)
        totals = np.column_stack((np.concatenate(([0.0], after[:-1])), after)).ravel()
        return np.asarray(np.interp(at - origin, knots, totals), np.float64)


def good_curve(columns: Columns, hold_us: int) -> Curve:
    """Let each good reading hold until the next reading of any quality, `hold_us` at most."""
    if not len(columns):
        nothing = np.empty(0, np.int64)
        return Curve(nothing, nothing, np.empty(0))
    time = columns.time
    following = np.append(time[1:], time[-1] + hold_us)
    end = np.minimum(following, time + hold_us)
    good = (columns.quality == Quality.GOOD) & (end > time)
    return Curve(time[good], end[good], columns.value[good])
