"""What a value is worth, in words: each stage of it, and its uncertainty budget term by term."""

from collections.abc import Sequence
from dataclasses import dataclass

from steadybead_dashboards.sensor_words import (
    DISTRIBUTIONS,
    expanded_text,
    figure,
    short,
    shown_unit,
    signed,
    two_figures,
)
from steadybead_dashboards.words import QUANTITIES
from steadybead_domain.plant import Channel
from steadybead_domain.uncertainty.budget import Budget, Term
from steadybead_domain.uncertainty.worth import Worth

MEAN_OVER_S = 60.0


@dataclass(frozen=True, slots=True)
class TermRow:
    """One term of the budget; `averages` is the time it averages over, empty for none."""

    name: str
    half_width: str
    distribution: str
    divisor: str
    sensitivity: str
    contribution: str
    averages: str
    assumed: bool
    source: str


@dataclass(frozen=True, slots=True)
class BudgetView:
    """The terms, largest first, and what they come to."""

    terms: tuple[TermRow, ...]
    combined: str
    factor: str
    dof: str
    expanded: str
    expanded_mean: str


@dataclass(frozen=True, slots=True)
class WorthView:
    """A value at each stage, with its uncertainty."""

    recorded: str
    recalibrated: str
    best: str
    expanded: str
    unit: str
    calibration: str
    correction: str
    checks: int
    beyond: bool
    budget: BudgetView
    assumptions: tuple[str, ...]


def worth_view(worth: Worth, channel: Channel, assumptions: Sequence[str]) -> WorthView:
    """Show a worth with its budget."""
    quantity, correction, calibration = (
        channel.quantity,
        worth.correction,
        worth.stretch.calibration,
    )
    return WorthView(
        figure(worth.recorded, quantity),
        figure(worth.recalibrated, quantity),
        figure(worth.best, quantity),
        expanded_text(worth.budget.expanded, quantity),
        QUANTITIES[quantity].unit,
        "" if calibration is None else calibration.id,
        "" if correction is None else signed(correction.value),
        0 if correction is None else len(correction.checks),
        correction is not None and correction.beyond,
        _budget(worth.budget),
        tuple(assumptions),
    )


def _budget(budget: Budget) -> BudgetView:
    dof = budget.effective_dof
    unit = shown_unit(budget.unit)
    return BudgetView(
        tuple(_term(t, unit) for t in budget.largest_first()),
        f"{budget.combined:.2f} {unit}",
        f"{budget.factor:.3g}",
        f"{dof:.0f}" if dof < 1000 else "∞",
        f"± {two_figures(budget.expanded)} {unit}",
        f"± {two_figures(budget.over(MEAN_OVER_S).expanded)} {unit}",
    )


def _term(term: Term, unit: str) -> TermRow:
    per = "" if term.unit == unit or shown_unit(term.unit) == unit else f" {unit}/{term.unit}"
    return TermRow(
        term.name,
        f"± {short(round(term.half_width, 3))} {shown_unit(term.unit)}",
        DISTRIBUTIONS[term.distribution],
        f"{term.used_divisor:.4g}",
        f"{term.sensitivity:.3g}{per}".replace("-", "−"),
        f"{abs(term.contribution):.3f}",
        "" if term.averages_over_s is None else f"{term.averages_over_s:g} s",
        term.assumed,
        term.source,
    )
