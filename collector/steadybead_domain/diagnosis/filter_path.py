"""A run of growth as a line with noise, filtered under many hypotheses at once.

u(x) = u₀ + c·x + ∫w, where w is a lasting deviation of the rate (Ornstein–Uhlenbeck, correlation
`LASTING`) and u jitters besides; each bin is seen with an error. The Kalman filter runs for c = 0,
and beside it what one unit of c would add, so that c comes out by generalised least squares
(Rosenberg's form of the diffuse filter: Durbin and Koopman, Time Series Analysis by State Space
Methods, ch. 5). All arrays are [k], one entry a hypothesis.
"""

from dataclasses import dataclass, fields

import numpy as np

from steadybead_domain.readings import Float64

LASTING = 0.3  # of what has passed


@dataclass(frozen=True, slots=True, eq=False)
class Hypotheses:
    """What is held possible. `jitter` and `wander` are shares of the mean growth."""

    shape: Float64
    base: Float64
    jitter: Float64
    wander: Float64
    misfit: Float64
    follows: Float64
    log_prior: Float64


@dataclass(slots=True, eq=False)
class Path:
    """Where each hypothesis stands now.

    `start`, `rate`: level and deviation of the rate for c = 0; `reach`, `lean`: what one unit of c
    adds to them; `v_level`, `v_both`, `v_rate` their covariance; `jitter2`, `wander2` variances
    that come on; `drift` the estimated c (never below 0), `precision` of it.
    """

    start: Float64
    rate: Float64
    reach: Float64
    lean: Float64
    v_level: Float64
    v_both: Float64
    v_rate: Float64
    jitter2: Float64
    wander2: Float64
    precision: Float64
    drift: Float64
    estimate: Float64
    log_likelihood: Float64

    @property
    def level(self) -> Float64:
        """Give the level now."""
        return self.start + self.drift * self.reach

    def kept(self, which: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> "Path":
        """Give some of the hypotheses."""
        return Path(*(getattr(self, f.name)[which] for f in fields(self)))

    def move(self, step: float) -> None:
        """Go on by a step of x."""
        keep = float(np.exp(-step / LASTING))
        self.start = self.start + self.rate * step
        self.reach = self.reach + step + self.lean * step
        self.rate, self.lean = keep * self.rate, keep * self.lean
        self.v_level = (
            self.v_level + step * (2.0 * self.v_both + step * self.v_rate + self.jitter2)
        )  # fmt: skip
        self.v_both = keep * (self.v_both + step * self.v_rate)
        self.v_rate = keep * keep * self.v_rate + self.wander2 * (1.0 - keep * keep)

    def see(self, u: Float64, variance: Float64, sums: Float64) -> None:
        """Take a bin; `sums` [4, k] gather reach², reach·miss, miss² over variance, and its log."""
        total = self.v_level + variance
        miss, reach = u - self.start, self.reach
        sums += np.stack((reach * reach, reach * miss, miss * miss, total * np.log(total))) / total
        gain, turn = self.v_level / total, self.v_both / total
        self.start = self.start + gain * miss
        self.rate = self.rate + turn * miss
        self.lean = self.lean - turn * reach
        self.reach = reach * (1.0 - gain)
        self.v_rate = self.v_rate - turn * self.v_both
        self.v_both = self.v_both * (1.0 - gain)
        self.v_level = self.v_level * (1.0 - gain)

    def chance_above(self, ahead: Float64, end: Float64) -> Float64:
        """Give the chance that u lies above `end` [k] at `ahead` [a, 1]; shape [a, k]."""
        lost = np.exp(-ahead / LASTING)
        felt = LASTING * (1.0 - lost)
        reach = self.reach + ahead + self.lean * felt
        mean = self.start + self.rate * felt + self.estimate * reach - end
        comes = np.maximum(2.0 * ahead / LASTING - 3.0 + 4.0 * lost - lost * lost, 0.0)
        variance = self.v_level + felt * (2.0 * self.v_both + felt * self.v_rate)
        variance = np.maximum(variance, 1e-15) + self.jitter2 * ahead + reach**2 / self.precision
        variance += self.wander2 * LASTING**2 * comes
        return _normal(mean / np.sqrt(variance))


def follow(x: Float64, u: Float64, error: Float64, h: Hypotheses) -> Path:
    """Filter the run: `x` [n], `u` and its 1 σ `error` [n, k]. The first bin sets the level."""
    quarter = max(3, len(x) // 4)
    slope = u[-quarter:].mean(axis=0) - u[:quarter].mean(axis=0)
    slope = np.maximum(slope / (x[-quarter:].mean() - x[:quarter].mean()), 1e-6)
    none = np.zeros_like(slope)
    wander2 = (h.wander * slope) ** 2
    path = Path(
        u[0], none, none, none, error[0] ** 2, none, wander2, (h.jitter * slope) ** 2, wander2,
        none, none, none, none,
    )  # fmt: skip
    sums = np.zeros((4, len(slope)))
    for i in range(1, len(x)):
        path.move(float(x[i] - x[i - 1]))
        path.see(u[i], error[i] ** 2, sums)
    path.move(1.0 - float(x[-1]))
    squares, product, misses, logs = sums
    path.precision = squares + 1e-12
    path.estimate = product / path.precision
    path.drift = np.maximum(path.estimate, 1e-6 * slope)
    left = misses - product * path.estimate
    falls = np.where(path.estimate > 0.0, 0.0, -5.0)
    path.log_likelihood = falls - 0.5 * (left + logs + np.log(path.precision))
    return path


def _normal(z: Float64) -> Float64:
    """Give the normal distribution function; within 1e-7 (Abramowitz and Stegun 26.2.17)."""
    t = 1.0 / (1.0 + 0.2316419 * np.abs(z))
    poly = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (
        -1.821255978 + t * 1.330274429))))  # fmt: skip
    tail = np.exp(-0.5 * z * z) * poly / np.sqrt(2.0 * np.pi)
    return np.asarray(np.where(z >= 0.0, 1.0 - tail, tail), np.float64)
