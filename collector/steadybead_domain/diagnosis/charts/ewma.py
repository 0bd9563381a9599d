"""Exponentially weighted moving average chart."""

from dataclasses import dataclass
from math import sqrt


@dataclass(slots=True)
class Ewma:
    """Sees single points of mean `target` and spread `sigma`; all in the data's own unit.

    z = λ x + (1 − λ) z, started at the target; it signals where z lies beyond target ± L σ
    sqrt(λ / (2 − λ)), the steady-state limits. Delay against false alarms: λ 0.2 and L 4.5 keep
    a shift of 1 σ to some 20 points; λ 0.2 and L 2.962 have an in-control run length of 500.

    Reference: NIST/SEMATECH e-Handbook 6.3.2.4; Lucas and Saccucci, Technometrics 32 (1990) 1.

    >>> chart = Ewma(target=50.0, sigma=2.0539, weight=0.3, width=3.0)
    >>> chart.update(52.0), round(chart.value, 2), round(chart.limits[1], 4)
    (0, 50.6, 52.5884)
    """

    target: float
    sigma: float
    weight: float
    width: float
    value: float = float("nan")

    @property
    def limits(self) -> tuple[float, float]:
        """Give the lower and the upper limit."""
        half = self.width * self.sigma * sqrt(self.weight / (2.0 - self.weight))
        return self.target - half, self.target + half

    def update(self, x: float) -> int:
        """Take a point; give +1 above the upper limit, −1 below the lower one, else 0."""
        before = self.target if self.value != self.value else self.value
        self.value = self.weight * x + (1.0 - self.weight) * before
        low, high = self.limits
        return int(self.value > high) - int(self.value < low)
