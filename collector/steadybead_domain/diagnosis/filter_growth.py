"""How a filter's pressure drop grows, and when it will reach its limit.

The dust on the filter adds to its drop by dR/dx = c · (R − b)^m over the air volume x: m = 0 is the
straight line of cake loading, m = 1 exponential growth; b below 0 lies between the two, b above 0
is a medium whose own drop does not grow. In u = ∫dR/(R − b)^m the run is a line with noise: a
Wiener process with drift (Whitmore and Schenkelberg, Lifetime Data Analysis 3 (1997) 27) plus a
rate of dust that wanders and comes back. How much it wanders is learnt with the rest: every
hypothesis of law, wander, noise and use of the flow is filtered along the run (see `filter_path`)
and weighed by its likelihood; the forecast is the weighed distribution of the first passage. The
priors know no time scale: a life of a minute and one of a month look alike.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from steadybead_domain.diagnosis.filter_path import Hypotheses, Path, follow
from steadybead_domain.readings import Float64

# (m, b over the first drop, prior). From straight to beyond exponential; real loading runs were
# near exponential or somewhat slower (own reading of open loading logs).
LAWS = (
    (0.0, 0.0, 0.10),
    (0.5, -0.7, 0.04),
    (0.5, 0.0, 0.12),
    (0.5, 0.5, 0.06),
    (0.75, 0.0, 0.14),
    (1.0, -2.0, 0.08),
    (1.0, -0.7, 0.11),
    (1.0, 0.0, 0.20),
    (1.0, 0.4, 0.07),
    (1.0, 0.7, 0.03),
    (1.25, 0.0, 0.05),
)
# Random part of the growth over what has passed: independent from bin to bin, and lasting.
WANDERS = (
    (0.005, 0.0),
    (0.02, 0.0),
    (0.08, 0.0),
    (0.005, 0.04),
    (0.005, 0.12),
    (0.02, 0.12),
    (0.02, 0.35),
    (0.08, 0.12),
    (0.08, 0.35),
)
MISFITS = (0.002, 0.01, 0.04)  # a bin's own error relative to the drop
FOLLOWS = ((0.0, 0.3), (1.0, 0.7))  # the drop follows small changes of the flow or not; prior
AHEAD = np.geomspace(0.004, 60.0, 80)  # still to come over what has passed
PRIOR_POWER = 2.0
SPREAD = 0.05  # of ln(what is to come), for what no hypothesis says
LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9
LEAST_SHARE = 2e-4  # hypotheses below are left out
LEAST_DROP = 0.004  # of the limit
MOST_BASE = 0.9  # of the limit


@dataclass(frozen=True, slots=True)
class Growth:
    """`ahead`: 10 %, 50 % and 90 % points of what is still to come, over what has passed.

    `level` is the drop now over the limit; `rate` d ln R per what has passed; `shape` the mean
    exponent m.
    """

    ahead: tuple[float, float, float]
    level: float
    rate: float
    shape: float


@dataclass(frozen=True, slots=True, eq=False)
class RunSeen:
    """The bins of a run. `x` [n] ascending, from 0 where it began to 1 now; `y` [n] drop / limit.

    `noise` [n] standard error of y; `away` [n] ln(reference flow / flow) that `y` is not corrected
    for, `exponent` with which the drop follows the flow.
    """

    x: Float64
    y: Float64
    noise: Float64
    away: Float64
    exponent: float


def growth(run: RunSeen) -> Growth:
    """Weigh all hypotheses against the run."""
    h = _hypotheses(bool(np.any(run.away)))
    first = max(float(np.median(run.y[: max(2, len(run.x) // 10)])), LEAST_DROP)
    base = np.minimum(h.base * first, MOST_BASE)
    z = run.y[:, None] * np.exp(run.exponent * h.follows * run.away[:, None]) - base
    least = np.maximum(run.noise[:, None], 0.15 * (first - np.maximum(base, 0.0)))
    z = np.maximum(z, least)
    error = np.hypot(run.noise[:, None], h.misfit * np.maximum(run.y, 0.02)[:, None])
    path = follow(run.x, _straightened(z, h.shape), error / z**h.shape, h)
    end = _straightened(1.0 - base, h.shape)
    share = _shares(h, path, end, h.shape * np.log(z[1:]).sum(axis=0))
    now = _bent(path.level, h.shape)
    rate = path.drift * now**h.shape / np.maximum(now + base, LEAST_DROP)
    kept = share > LEAST_SHARE
    chance = _passage(path.kept(kept), end[kept]) @ (share[kept] / share[kept].sum())
    return Growth(
        _points(chance),
        float(share @ (now + base)),
        float(share @ rate),
        float(share @ h.shape),
    )


@cache
def _hypotheses(has_flow: bool) -> Hypotheses:
    """Give every combination, [k] each."""
    laws, wanders = np.array(LAWS), np.array(WANDERS)
    follows = np.array(FOLLOWS if has_flow else ((0.0, 1.0),))
    law, wander, misfit, follow_ = (
        i.ravel() for i in np.indices((len(LAWS), len(WANDERS), len(MISFITS), len(follows)))
    )
    return Hypotheses(
        shape=laws[law, 0],
        base=laws[law, 1],
        jitter=wanders[wander, 0],
        wander=wanders[wander, 1],
        misfit=np.array(MISFITS)[misfit],
        follows=follows[follow_, 0],
        log_prior=np.log(laws[law, 2] * follows[follow_, 1]),
    )


def _straightened(z: Float64, shape: Float64) -> Float64:
    """Give u = ∫ dz / z^m."""
    power = np.where(shape == 1.0, 1.0, 1.0 - shape)
    return np.asarray(np.where(shape == 1.0, np.log(z), z**power / power), np.float64)


def _bent(u: Float64, shape: Float64) -> Float64:
    """Give z back."""
    power = np.where(shape == 1.0, 1.0, 1.0 - shape)
    raised = np.maximum(u * power, 1e-9) ** (1.0 / power)
    return np.asarray(np.where(shape == 1.0, np.exp(np.minimum(u, 1.0)), raised), np.float64)


def _shares(h: Hypotheses, path: Path, end: Float64, log_slope: Float64) -> Float64:
    """Give each hypothesis' share of belief.

    The prior of the end is 1/end²: the moment of asking may be any moment of the life. `log_slope`
    brings the likelihood of u back to that of y.
    """
    ahead = np.maximum(end - path.level, 1e-6) / path.drift
    prior = np.log(np.maximum(ahead, 1e-3) / path.drift) - PRIOR_POWER * np.log1p(ahead)
    log = path.log_likelihood + h.log_prior + prior - log_slope
    chance = np.exp(log - log.max())
    return np.asarray(chance / chance.sum(), np.float64)


def _passage(path: Path, end: Float64) -> Float64:
    """Give the chance of each `AHEAD` to be the first passage, [ahead, k]."""
    edges = np.sqrt(AHEAD[1:] * AHEAD[:-1])
    edges = np.concatenate(([1e-6], edges, [1e4]))[:, None]
    passed = np.maximum.accumulate(path.chance_above(edges, end), axis=0)
    chance = np.diff(passed, axis=0) * (AHEAD[:, None] / (1.0 + AHEAD[:, None])) ** PRIOR_POWER
    return np.asarray(chance / (chance.sum(axis=0) + 1e-300), np.float64)


def _points(chance: Float64) -> tuple[float, float, float]:
    """Give the quantiles of `ahead`, spread by what the future adds."""
    log_ahead = np.log(AHEAD)
    apart = (log_ahead[:, None] - log_ahead[None, :]) / SPREAD
    kernel = np.exp(-0.5 * apart**2)
    spread = (kernel / kernel.sum(axis=0)) @ chance
    spread /= max(float(spread.sum()), 1e-300)
    below = np.cumsum(spread) - spread / 2
    low, middle, high = np.exp(np.interp((LOW, MIDDLE, HIGH), below, log_ahead))
    return float(low), float(middle), float(high)
