"""How a filter's pressure drop grows, and when it will reach its limit.

Loading follows dR/dx = c · R^m over the air volume x: m = 0 is the straight line of cake loading,
m = 1 exponential growth; real runs lie between and beyond. Each (m, start, end) on a grid is
weighed by how well its curve fits the drop so far; the forecast is the weighed distribution of
the end. The priors know no time scale: a life of a minute and one of a month look alike.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from steadybead_domain.readings import Float64

Float32 = npt.NDArray[np.float32]

SHAPES = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 1.25])
SHAPE_PRIOR = np.array([0.12, 0.13, 0.2, 0.25, 0.2, 0.1])
STARTS = np.geomspace(0.003, 0.93, 26)
AHEAD = np.geomspace(0.004, 40.0, 64)  # still to come over what has passed
MISFIT = 0.05  # a bin's own error relative to the curve: no real run is as smooth as its model
INDEPENDENT = 18.0  # bins along one run lie off the curve together: at most so many count
RECENT = 5.0  # what the growth did lately tells more of what comes than what it did first
PRIOR_POWER = 2.0
SPREAD = 0.14  # the future does not follow the past exactly: spread of ln(what is to come)
LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9


@dataclass(frozen=True, slots=True)
class Growth:
    """`ahead`: 10 %, 50 % and 90 % points of what is still to come, over what has passed.

    `level` is the drop now over the limit; `rate` d ln R per what has passed; `shape` the mean
    exponent m; `offset` the sensor's offset over the limit.
    """

    ahead: tuple[float, float, float]
    level: float
    rate: float
    shape: float
    offset: float


def growth(x: Float64, y: Float64, noise: Float64, offset_sd: float) -> Growth:
    """Weigh all curves against the bins.

    `x` [n] ascending, from 0 where the run began to 1 now; `y` [n] drop over limit; `noise` [n]
    standard error of y; `offset_sd` how far the sensor's zero may lie off, over the limit.
    """
    curves = _curves(x)
    sigma2 = noise**2 + (MISFIT * np.maximum(y, 0.02)) ** 2
    weight = 1.0 / sigma2
    lately = 0.4 + RECENT * x**4
    weight *= lately * min(1.0, INDEPENDENT / lately.sum())
    off = y.astype(np.float32) - curves
    total = weight.sum() + 1.0 / offset_sd**2
    lean = weight.astype(np.float32)
    moment = (off @ lean).astype(np.float64)
    square = np.square(off, out=off) @ lean - moment**2 / total
    chance = np.exp(-0.5 * (square - square.min())) * _prior()
    chance /= chance.sum()
    offset = float((chance * moment).sum() / total)
    now, rate = _now()
    return Growth(
        _points(chance.sum(axis=(0, 1))),
        float((chance * now).sum()),
        float((chance * rate).sum()),
        float((chance.sum(axis=(1, 2)) * SHAPES).sum()),
        offset,
    )


def _curves(x: Float64) -> Float32:
    """Give R over the limit, shape [shapes, starts, ahead, n]."""
    z = (x[None, :] / (1.0 + AHEAD[:, None])).astype(np.float32)
    return np.stack([_curve(m, z) for m in SHAPES.tolist()])


def _curve(m: float, z: Float32) -> Float32:
    """Single precision, 1e-7 of the limit, is far finer than any sensor and twice as fast."""
    start = STARTS[:, None, None].astype(np.float32)
    if m == 1.0:
        return np.asarray(np.exp(np.log(start) * (1.0 - z[None])), np.float32)
    p = 1.0 - m
    foot = start**p
    return np.asarray(np.power(foot + (1.0 - foot) * z[None], 1.0 / p), np.float32)


@cache
def _prior() -> Float64:
    """Know nothing of the scale: 1/end² for the end, even in ln for the start.

    1/end² says that the moment of asking may be any moment of the life.
    """
    ahead = AHEAD / (1.0 + AHEAD) ** PRIOR_POWER
    return SHAPE_PRIOR[:, None, None] * np.ones((1, len(STARTS), 1)) * ahead[None, None, :]


@cache
def _now() -> tuple[Float64, Float64]:
    """Give R over the limit and d ln R / dx, both now, for each curve."""
    shape = SHAPES[:, None, None]
    now = _curves(np.ones(1))[..., 0].astype(np.float64)
    exponential = shape == 1.0
    power = np.where(exponential, 1.0, 1.0 - shape)
    climb = (1.0 - STARTS[None, :, None] ** power) / power
    climb = np.where(exponential, -np.log(STARTS)[None, :, None], climb)
    return now, climb / (1.0 + AHEAD) * now ** (shape - 1.0)


def _points(chance: Float64) -> tuple[float, float, float]:
    """Give the quantiles of `ahead`, spread by what the future adds."""
    log_ahead = np.log(AHEAD)
    apart = (log_ahead[:, None] - log_ahead[None, :]) / SPREAD
    kernel = np.exp(-0.5 * apart**2)
    spread = (kernel / kernel.sum(axis=0)) @ chance
    below = np.cumsum(spread) - spread / 2
    low, middle, high = np.exp(np.interp((LOW, MIDDLE, HIGH), below, log_ahead))
    return float(low), float(middle), float(high)
