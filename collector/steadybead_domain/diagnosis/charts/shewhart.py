"""Shewhart chart for single points, with run rules."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from steadybead_domain.readings import Float64

D2_OF_TWO = 1.128  # mean range of two normal values over their sigma


def _beyond(count: int, of: int, limit: float) -> Callable[[list[float]], bool]:
    def rule(z: list[float]) -> bool:
        last = z[-of:]
        return any(
            len(last) >= count and side * last[-1] > limit and _more(last, side, limit) >= count
            for side in (1.0, -1.0)
        )

    return rule


def _more(z: list[float], side: float, limit: float) -> int:
    return sum(side * v > limit for v in z)


def _in_a_row(count: int, holds: Callable[[list[float]], bool]) -> Callable[[list[float]], bool]:
    return lambda z: len(z) >= count and holds(z[-count:])


def _steady(z: list[float]) -> bool:
    steps = np.diff(z)
    return bool(np.all(steps > 0) or np.all(steps < 0))


def _alternating(z: list[float]) -> bool:
    steps = np.diff(z)
    return bool(np.all(steps[1:] * steps[:-1] < 0))


def _one_side(z: list[float]) -> bool:
    return min(z) > 0 or max(z) < 0


def _within_one(z: list[float]) -> bool:
    return all(abs(v) < 1 for v in z)


def _none_within_one(z: list[float]) -> bool:
    return all(abs(v) > 1 for v in z) and min(z) < 0 < max(z)


NELSON: Mapping[int, Callable[[list[float]], bool]] = MappingProxyType(
    {
        1: _beyond(1, 1, 3.0),
        2: _in_a_row(9, _one_side),
        3: _in_a_row(6, _steady),
        4: _in_a_row(14, _alternating),
        5: _beyond(2, 3, 2.0),
        6: _beyond(4, 5, 1.0),
        7: _in_a_row(15, _within_one),
        8: _in_a_row(8, _none_within_one),
    }
)
WESTERN_ELECTRIC: Mapping[int, Callable[[list[float]], bool]] = MappingProxyType(
    {
        1: _beyond(1, 1, 3.0),
        2: _beyond(2, 3, 2.0),
        3: _beyond(4, 5, 1.0),
        4: _in_a_row(8, _one_side),
    }
)


@dataclass(slots=True)
class Shewhart:
    """Sees single points of mean `target` and spread `sigma`; all in the data's own unit.

    `update` gives the numbers of the rules that the new point completes. Delay against false
    alarms: rule 1 alone has an in-control run length of 370, a shift of 3 σ shows after 2 points
    on average; every further rule shortens both. For 70,000 use rule 1 at 4.2 σ, or CUSUM.

    Reference: Nelson, J. Qual. Technol. 16 (1984) 237; Western Electric handbook 1956 as quoted
    by the NIST/SEMATECH e-Handbook 6.3.2.

    >>> chart = Shewhart(target=0.0, sigma=1.0, rules=WESTERN_ELECTRIC)
    >>> [chart.update(x) for x in (0.5, 3.5, -2.5, -2.1)]
    [(), (1,), (), (2,)]
    """

    target: float
    sigma: float
    rules: Mapping[int, Callable[[list[float]], bool]] = field(default_factory=lambda: NELSON)
    points: list[float] = field(default_factory=list)

    def update(self, value: float) -> tuple[int, ...]:
        """Take the next point; give the rules that signal."""
        self.points = [*self.points[-14:], (value - self.target) / self.sigma]
        return tuple(number for number, rule in self.rules.items() if rule(self.points))


def individuals_limits(values: Float64) -> tuple[float, float, float]:
    """Give (lower limit, centre, upper limit) of single values from their moving range.

    Centre ± 3 · mean moving range / 1.128. Reference: NIST/SEMATECH e-Handbook 6.3.2.2.
    """
    centre = float(np.mean(values))
    reach = 3.0 * float(np.mean(np.abs(np.diff(values)))) / D2_OF_TWO
    return centre - reach, centre, centre + reach
