"""Coverage factors: Student's t for a whole number of degrees of freedom."""

import math
from functools import lru_cache
from statistics import NormalDist
from typing import Final

K2_COVERAGE: Final = 0.9545  # the level that k = 2 gives for a normal distribution
_LARGE: Final = 10_000


def student_coverage(t: float, dof: int) -> float:
    """Give P(-t < T < t) for `dof` ≥ 1 (closed sums, Abramowitz & Stegun 26.7.3 and 26.7.4)."""
    theta = math.atan(t / math.sqrt(dof))
    cos, sin = math.cos(theta), math.sin(theta)
    term, total = 1.0, 0.0
    for i in range((dof - 1) // 2 if dof % 2 else dof // 2):
        if i:
            term *= (2 * i) / (2 * i + 1) if dof % 2 else (2 * i - 1) / (2 * i)
        total += term * cos ** (2 * i)
    if dof % 2:
        return 2.0 / math.pi * (theta + sin * cos * total)
    return sin * total


@lru_cache(maxsize=1024)
def coverage_factor(dof: float, coverage: float = K2_COVERAGE) -> float:
    """Give k for a coverage probability; `dof` is cut to a whole number (JCGM 100:2008, G.4.1).

    Infinity, or more than ten thousand, gives the normal distribution's factor.
    """
    if dof > _LARGE:
        return NormalDist().inv_cdf(0.5 + coverage / 2.0)
    whole = max(int(dof), 1)
    low, high = 0.0, 1.0
    while student_coverage(high, whole) < coverage:
        high *= 2.0
    for _ in range(80):
        middle = (low + high) / 2.0
        if student_coverage(middle, whole) < coverage:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0
