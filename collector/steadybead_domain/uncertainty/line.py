"""A straight line through points, with the uncertainty of what it predicts."""

import math
from dataclasses import dataclass

import numpy as np

from steadybead_domain.readings import Float64


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope · (x - origin), by ordinary least squares (JCGM 100:2008, H.3).

    `residual` is the standard deviation about the line, with `dof` = n - 2; `correlation` is that
    between intercept and slope.
    """

    intercept: float
    slope: float
    origin: float
    u_intercept: float
    u_slope: float
    correlation: float
    residual: float
    dof: int

    def at(self, x: float) -> tuple[float, float]:
        """Give the predicted value and its standard uncertainty."""
        away = x - self.origin
        variance = (
            self.u_intercept**2
            + (away * self.u_slope) ** 2
            + 2.0 * away * self.u_intercept * self.u_slope * self.correlation
        )
        return self.intercept + self.slope * away, math.sqrt(max(variance, 0.0))


def fit_line(x: Float64, y: Float64, origin: float = 0.0) -> Line:
    """Fit n ≥ 3 points that do not all share one x; raise ValueError otherwise."""
    n = len(x)
    if n < 3 or float(np.ptp(x)) == 0.0:
        raise ValueError("a line needs three points or more, at two places or more")
    away = x - origin
    mean = float(away.mean())
    spread = float(((away - mean) ** 2).sum())
    slope = float(((away - mean) * y).sum()) / spread
    intercept = float(y.mean()) - slope * mean
    residual = math.sqrt(float(((y - intercept - slope * away) ** 2).sum()) / (n - 2))
    square = float((away**2).sum())
    return Line(
        intercept,
        slope,
        origin,
        residual * math.sqrt(square / (n * spread)),
        residual / math.sqrt(spread),
        -mean * math.sqrt(n / square),
        residual,
        n - 2,
    )
