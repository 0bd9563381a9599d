"""Is there a trend, and how steep: Mann–Kendall and Theil–Sen, free of any distribution."""

from dataclasses import dataclass
from functools import cache
from math import erfc, sqrt

import numpy as np

from steadybead_domain.readings import Float64

EXACT_UP_TO = 10  # points without ties; the normal approximation serves beyond


@dataclass(frozen=True, slots=True)
class MannKendall:
    """`s` counts rises less falls over all pairs; `variance` of s without trend, ties corrected.

    `z` is the normal score with continuity correction; `p_one_sided` the chance of an |s| at
    least so large in its own direction without trend; `exact`: from the exact table, not from z.
    """

    s: int
    variance: float
    z: float
    p_one_sided: float
    exact: bool

    @property
    def p_two_sided(self) -> float:
        """Give the chance of an |s| at least so large in either direction."""
        return min(1.0, 2.0 * self.p_one_sided) if self.s else 1.0


def mann_kendall(values: Float64) -> MannKendall:
    """Test n values in their order of time; ValueError for fewer than three.

    Exact for up to 10 values without ties. Reference: Kendall, Rank Correlation Methods; Gilbert,
    Statistical Methods for Environmental Pollution Monitoring (1987), 16.4.
    """
    n = len(values)
    if n < 3:
        raise ValueError(f"{n} values: a trend needs at least 3")
    later, earlier = np.triu_indices(n, 1)[::-1]
    s = int(np.sign(values[later] - values[earlier]).sum())
    ties = np.unique(values, return_counts=True)[1].astype(np.float64)
    whole = n * (n - 1) * (2 * n + 5)
    variance = float((whole - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18.0)
    z = 0.0 if variance == 0 else float(np.sign(s)) * max(abs(s) - 1, 0) / sqrt(variance)
    exact = n <= EXACT_UP_TO and bool(ties.max() == 1)
    p = _exact_tail(n, abs(s)) if exact else 0.5 * erfc(abs(z) / sqrt(2.0))
    return MannKendall(s, variance, z, p, exact)


def _exact_tail(n: int, s: int) -> float:
    """Give P(S ≥ s) without trend: permutations of n by their number of inversions."""
    counts = _inversions(n)
    pairs = n * (n - 1) // 2
    return float(sum(counts[: (pairs - s) // 2 + 1]) / sum(counts))


@cache
def _inversions(n: int) -> tuple[int, ...]:
    counts = [1]
    for k in range(2, n + 1):
        counts = [sum(counts[max(0, i - k + 1) : i + 1]) for i in range(len(counts) + k - 1)]
    return tuple(counts)


@dataclass(frozen=True, slots=True)
class TheilSen:
    """Slope and intercept through the medians, and the interval of the slope."""

    slope: float
    intercept: float
    low: float
    high: float


def theil_sen(x: Float64, y: Float64, confidence: float = 0.95) -> TheilSen:
    """Give the median of all pairs' slopes with its interval; ValueError for one x only.

    The interval takes the slopes at ranks (N ± c) / 2 with c from the variance of Mann–Kendall's
    s. Reference: Sen, J. Am. Stat. Assoc. 63 (1968) 1379.
    """
    second, first = np.triu_indices(len(x), 1)[::-1]
    step = x[second] - x[first]
    rise = (y[second] - y[first])[step != 0]
    slopes = np.sort(rise / step[step != 0])
    if not len(slopes):
        raise ValueError("all x are the same: there is no slope")
    slope = float(np.median(slopes))
    reach = _normal_point(0.5 + confidence / 2) * sqrt(mann_kendall(y).variance)
    low = max(round((len(slopes) - reach) / 2), 0)
    high = min(round((len(slopes) + reach) / 2), len(slopes) - 1)
    intercept = float(np.median(y) - slope * np.median(x))
    return TheilSen(slope, intercept, float(slopes[low]), float(slopes[high]))


def _normal_point(p: float) -> float:
    """Give the normal quantile by bisection: exact enough, and no further library."""
    low, high = -10.0, 10.0
    for _ in range(80):
        middle = (low + high) / 2
        if 0.5 * erfc(-middle / sqrt(2.0)) < p:
            low = middle
        else:
            high = middle
    return (low + high) / 2
