"""Tabular CUSUM with limits chosen by the in-control run length."""

from dataclasses import dataclass
from functools import cache
from math import erf, sqrt
from typing import Any

import numpy as np

from steadybead_domain.readings import Float64

IN_CONTROL_RUN_LENGTH = 70_000.0


@dataclass(slots=True)
class Cusum:
    """Sees single points of a mean `target`; all in the data's own unit.

    High side: S = max(0, S + x − target − k), low side likewise with the sign turned; it signals
    where a side passes `h`. k is half the shift to be found fast. With `h = limit_for(k/σ)·σ` the
    mean number of points to a false signal is 70,000 if points are independent and normal; the
    mean delay is `run_length(k, h, shift)`.

    Reference: NIST/SEMATECH e-Handbook 6.3.2.3; Page, Biometrika 41 (1954) 100.

    >>> chart = Cusum(target=0.0, k=0.5, h=4.0)
    >>> [chart.update(x) for x in (0.0, 2.0, 2.0, 2.0)]
    [0, 0, 0, 1]
    """

    target: float
    k: float
    h: float
    high: float = 0.0
    low: float = 0.0
    high_points: int = 0
    low_points: int = 0

    def update(self, x: float) -> int:
        """Take a point; give +1 for a signal on the high side, −1 on the low side, else 0."""
        self.high = max(0.0, self.high + x - self.target - self.k)
        self.low = max(0.0, self.low + self.target - x - self.k)
        self.high_points = self.high_points + 1 if self.high > 0 else 0
        self.low_points = self.low_points + 1 if self.low > 0 else 0
        if self.high > self.h and self.high >= self.low:
            return 1
        return -1 if self.low > self.h else 0

    def points_since_zero(self, side: int) -> int:
        """Count the points since the side last stood at 0: the estimate of when it began."""
        return self.high_points if side > 0 else self.low_points

    def reset(self) -> None:
        """Start again from 0."""
        self.high = self.low = 0.0
        self.high_points = self.low_points = 0

    def dump(self) -> list[Any]:
        """Give the memory as JSON."""
        return [self.high, self.low, self.high_points, self.low_points]

    def load(self, data: Any) -> None:
        """Take up what `dump` gave."""
        self.high, self.low = float(data[0]), float(data[1])
        self.high_points, self.low_points = int(data[2]), int(data[3])


def one_sided_run_length(k: float, h: float, shift: float, nodes: int = 100) -> float:
    """Give the mean points to a signal of one side started at 0, k, h and shift in σ.

    Page's integral equation L(u) = 1 + L(0) Φ(k−u−δ) + ∫ L(x) φ(x+k−u−δ) dx over 0..h, solved at
    Gauss–Legendre nodes (Goel and Wu, Technometrics 13 (1971) 221).
    """
    x, w = np.polynomial.legendre.leggauss(nodes)
    points = np.concatenate(([0.0], h * (x + 1.0) / 2.0))
    weights = h * w / 2.0
    step = points[1:][np.newaxis, :] - points[:, np.newaxis] + k - shift
    kernel = np.empty((nodes + 1, nodes + 1))
    kernel[:, 1:] = weights * np.exp(-step * step / 2.0) / np.sqrt(2.0 * np.pi)
    kernel[:, 0] = _normal(k - points - shift)
    lengths = np.linalg.solve(np.eye(nodes + 1) - kernel, np.ones(nodes + 1))
    return float(lengths[0])


def run_length(k: float, h: float, shift: float = 0.0) -> float:
    """Give the mean points to a signal of both sides together, k, h and shift in σ.

    1/L = 1/L₊ + 1/L₋ (Kemp, J. R. Stat. Soc. B 23 (1961) 149).
    """
    up, down = one_sided_run_length(k, h, shift), one_sided_run_length(k, h, -shift)
    return 1.0 / (1.0 / up + 1.0 / down)


@cache
def limit_for(k: float, in_control: float = IN_CONTROL_RUN_LENGTH) -> float:
    """Give h in σ for which the two-sided in-control run length is as asked, to 0.001."""
    low, high = 0.1, 30.0
    while high - low > 0.0005:
        middle = (low + high) / 2.0
        low, high = (middle, high) if run_length(k, middle) < in_control else (low, middle)
    return high


def _normal(z: Float64) -> Float64:
    return np.array([(1.0 + erf(v / sqrt(2.0))) / 2.0 for v in z])
