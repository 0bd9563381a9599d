"""An uncertainty budget after JCGM 100:2008 (GUM): terms, their sum, and what averages away."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from steadybead_domain.uncertainty.coverage import K2_COVERAGE, coverage_factor


class Distribution(StrEnum):
    """The shape assumed for a term; it sets the divisor of the half-width."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "U-shaped"


_DIVISORS = {
    Distribution.RECTANGULAR: math.sqrt(3.0),
    Distribution.TRIANGULAR: math.sqrt(6.0),
    Distribution.U_SHAPED: math.sqrt(2.0),
}


@dataclass(frozen=True, slots=True)
class Term:
    """One source of doubt.

    `half_width` is in `unit` ± about the estimate, or an expanded uncertainty, or a standard one;
    `divisor` makes a standard uncertainty of it (None: by the distribution; normal needs one, the
    coverage factor, or 1). `sensitivity` turns the term's unit into the result's.
    `averages_over_s`: None for a systematic term, which no average makes smaller; else the time
    after which it is independent of itself. `assumed`: a default of ours, to be replaced.
    """

    name: str
    half_width: float
    unit: str
    distribution: Distribution = Distribution.RECTANGULAR
    divisor: float | None = None
    sensitivity: float = 1.0
    dof: float = math.inf
    averages_over_s: float | None = None
    assumed: bool = False
    source: str = ""

    @property
    def used_divisor(self) -> float:
        """Give the divisor in use."""
        return self.divisor or _DIVISORS.get(self.distribution, 1.0)

    @property
    def standard(self) -> float:
        """Give the standard uncertainty in the term's own unit."""
        return self.half_width / self.used_divisor

    @property
    def contribution(self) -> float:
        """Give the standard uncertainty in the result's unit, with the sensitivity's sign."""
        return self.standard * self.sensitivity

    def over(self, duration_s: float) -> "Term":
        """Give the term as it is in a mean over a time."""
        if self.averages_over_s is None or duration_s <= self.averages_over_s:
            return self
        independent = duration_s / self.averages_over_s
        return replace(self, half_width=self.half_width / math.sqrt(independent))


@dataclass(frozen=True, slots=True)
class Budget:
    """Uncorrelated terms of one value, all turned into `unit` by their sensitivities."""

    terms: tuple[Term, ...]
    unit: str
    coverage: float = K2_COVERAGE

    @property
    def combined(self) -> float:
        """Give the combined standard uncertainty: the root of the sum of squares."""
        return math.sqrt(math.fsum(t.contribution**2 for t in self.terms))

    @property
    def effective_dof(self) -> float:
        """Give the effective degrees of freedom (Welch–Satterthwaite, JCGM 100:2008, G.4.1)."""
        total = math.fsum(t.contribution**4 / t.dof for t in self.terms)
        return math.inf if total == 0.0 else self.combined**4 / total

    @property
    def factor(self) -> float:
        """Give the coverage factor; 2 exactly where k = 2 is the convention."""
        if self.coverage == K2_COVERAGE and self.effective_dof > _MANY:
            return 2.0
        return coverage_factor(self.effective_dof, self.coverage)

    @property
    def expanded(self) -> float:
        """Give the expanded uncertainty U in `unit`."""
        return self.factor * self.combined

    def over(self, duration_s: float) -> "Budget":
        """Give the budget of a mean over a time: systematic terms stay as they are."""
        return replace(self, terms=tuple(t.over(duration_s) for t in self.terms))

    def to_json(self) -> dict[str, Any]:
        """Write the budget with its terms, largest first, as JSON members."""
        dof = self.effective_dof
        return {
            "unit": self.unit,
            "combined": self.combined,
            "effective_dof": None if math.isinf(dof) else dof,
            "coverage_factor": self.factor,
            "expanded": self.expanded,
            "terms": [_row(t) for t in self.largest_first()],
        }

    def largest_first(self) -> Sequence[Term]:
        """List the terms by the size of what they contribute."""
        return sorted(self.terms, key=lambda t: -abs(t.contribution))


_MANY = 200.0


def _row(term: Term) -> dict[str, Any]:
    return {
        "name": term.name,
        "half_width": term.half_width,
        "unit": term.unit,
        "distribution": term.distribution.value,
        "divisor": term.used_divisor,
        "standard": term.standard,
        "sensitivity": term.sensitivity,
        "contribution": abs(term.contribution),
        "averages_over_s": term.averages_over_s,
        "assumed": term.assumed,
        "source": term.source,
    }
