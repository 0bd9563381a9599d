"""The decision rule: guard bands from a chosen risk (JCGM 106:2012, clauses 7 and 8).

A mean conforms if the probability that the true mean lies inside the window is at least
1 - risk, and does not conform if it is at most the risk. For a window much wider than the
uncertainty that is a guard band w = k·u at each limit; the default risk gives k = 2, so w = U,
which is also the default rule of ISO 14253-1 (from memory).
"""

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

from steadybead_domain.procedures import Window
from steadybead_domain.uncertainty.budget import Budget
from steadybead_domain.uncertainty.coverage import coverage_factor

RULE_VERSION: Final = 1
DEFAULT_RISK: Final = 0.02275  # (1 - 0.9545) / 2: k = 2
LEAST_RISK: Final = 1e-4
LARGEST_RISK: Final = 0.25
_NORMAL: Final = NormalDist()


@dataclass(frozen=True, slots=True)
class DecisionRule:
    """What a shop decides by; each average is judged by itself.

    `risk`: the largest probability of a wrong *conforms*, and of a wrong *does not conform*, for
    one average. `average_s`: the time that a mean is taken over, a project assumption as are the
    others: `join_s` joins excursions that a shorter pause parts; an average needs good readings
    over `least_covered` of its time.
    """

    risk: float = DEFAULT_RISK
    average_s: float = 10.0
    join_s: float = 2.0
    least_covered: float = 0.9
    version: int = RULE_VERSION

    def factor(self, dof: float = math.inf) -> float:
        """Give k, so that w = k·u: one-sided at the risk, Student's t for few dof."""
        if self.risk == DEFAULT_RISK and dof > 200.0:
            return 2.0
        return coverage_factor(dof, 1.0 - 2.0 * self.risk)

    @property
    def words(self) -> str:
        """State the rule."""
        return (
            f"averages over {self.average_s:g} s; an average conforms if the true mean lies inside"
            f" the window with a probability of at least {100 * (1 - self.risk):.4g} %, and does"
            f" not conform if that is at most {100 * self.risk:.3g} % (guard bands after"
            f" JCGM 106:2012, k = {self.factor():.3g}); otherwise it cannot be told. An average"
            f" needs good readings over {100 * self.least_covered:g} % of its time"
        )


@dataclass(frozen=True, slots=True)
class Guarded:
    """A window with its guard band, in `unit`.

    `standard` and `expanded` are of an average over the rule's time; `guard` is w. An average
    inside the closed `accept_low`..`accept_high` conforms; one below `reject_low` or above
    `reject_high` does not. None leaves a side open. `can_conform` is false where no value at all
    could be accepted.
    """

    low: float | None
    high: float | None
    unit: str
    standard: float
    expanded: float
    factor: float
    guard: float
    accept_low: float | None
    accept_high: float | None
    reject_low: float | None
    reject_high: float | None
    can_conform: bool


def conformance_probability(
    value: float, standard: float, low: float | None, high: float | None
) -> float:
    """Give the probability that the true value lies in low..high (JCGM 106:2012, 7.2 to 7.4).

    The measured value is normal about the true one with `standard` > 0; nothing else is known.
    """
    above = 1.0 if high is None else _NORMAL.cdf((high - value) / standard)
    below = 0.0 if low is None else _NORMAL.cdf((low - value) / standard)
    return max(above - below, 0.0)


def guarded(window: Window, budget: Budget, rule: DecisionRule, duration_s: float) -> Guarded:
    """Put guard bands on a window for means over `duration_s`, by the budget of one reading."""
    mean = budget.over(min(duration_s, rule.average_s))
    factor = rule.factor(mean.effective_dof)
    guard = factor * mean.combined
    accept = _accepted(window, guard, rule)
    low, high = (None, None) if accept is None else accept
    return Guarded(
        window.low,
        window.high,
        budget.unit,
        mean.combined,
        mean.expanded,
        factor,
        guard,
        low,
        high,
        None if window.low is None else window.low - guard,
        None if window.high is None else window.high + guard,
        accept is not None,
    )


def _accepted(
    window: Window, guard: float, rule: DecisionRule
) -> tuple[float | None, float | None] | None:
    """Give the acceptance interval; None if no value is probable enough to be inside."""
    if window.low is None or window.high is None or guard == 0.0:
        low = None if window.low is None else window.low + guard
        high = None if window.high is None else window.high - guard
        return low, high
    scale = guard / -_NORMAL.inv_cdf(rule.risk)
    middle = (window.low + window.high) / 2.0
    if guard >= middle - window.low or not _enough(middle, scale, window, rule):
        return None
    least, most = window.low + guard, middle
    if _enough(least + _SLACK * scale, scale, window, rule):
        return least, window.high - guard
    for _ in range(60):
        half = (least + most) / 2.0
        if _enough(half, scale, window, rule):
            most = half
        else:
            least = half
    return most, window.high - (most - window.low)


_SLACK: Final = 1e-3


def _enough(value: float, scale: float, window: Window, rule: DecisionRule) -> bool:
    return conformance_probability(value, scale, window.low, window.high) >= 1.0 - rule.risk
