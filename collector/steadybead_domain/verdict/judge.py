"""One quantity held to its window: averages, excursions, gaps, and what follows."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from steadybead_domain.ids import ChannelId
from steadybead_domain.procedures import Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Quality
from steadybead_domain.times import SECOND
from steadybead_domain.uncertainty.budget import Budget
from steadybead_domain.verdict.curve import Curve, gap_us, good_curve
from steadybead_domain.verdict.excursions import MOST_LISTED, Measured, find_excursions, largest
from steadybead_domain.verdict.model import (
    Average,
    Conclusion,
    Gap,
    Judgement,
    Place,
    Reason,
    Run,
    Why,
)
from steadybead_domain.verdict.rule import DecisionRule, Guarded, guarded


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What a quantity is judged by.

    `columns` are in the channel's figures as far corrected as records allow, and reach from
    before the record to its stop; `window` is in the same figures. `budget` is that of a single
    reading at the window's limit. `silence_us` is the longest time a reading may hold.
    `correction` is what reference checks added to the values, already in them.
    """

    quantity: Quantity
    channel: ChannelId
    unit: str
    window: Window
    budget: Budget
    columns: Columns
    silence_us: int
    note: str = ""
    assumptions: tuple[str, ...] = ()
    correction: float = 0.0


def judge(evidence: Evidence, runs: Sequence[Run], rule: DecisionRule) -> Judgement:
    """Judge one quantity over the runs."""
    hold = gap_us(evidence.columns.time, evidence.silence_us)
    curve = good_curve(evidence.columns, hold)
    whole = guarded(evidence.window, evidence.budget, rule, rule.average_s)
    averages = tuple(average for run in runs for average in _averages(curve, run, evidence, rule))
    measured = Measured(evidence.quantity, evidence.channel, evidence.unit)
    excursions = find_excursions(curve, runs, whole, measured, averages, rule.join_s)
    gaps = tuple(gap for run in runs for gap in _gaps(curve, run, evidence.columns))
    inside = [curve.within(run.start, run.end) for run in runs]
    reasons = tuple(_reasons(averages, gaps, whole, evidence))
    listed, longest = largest(excursions), _longest(gaps)
    return Judgement(
        evidence.quantity,
        evidence.channel,
        evidence.unit,
        _conclusion(averages),
        reasons,
        whole,
        evidence.note,
        averages,
        tuple(listed),
        len(excursions) - len(listed),
        longest,
        len(gaps) - len(longest),
        sum(run.end - run.start for run in runs) / SECOND,
        float(sum(c.seconds().sum() for c in inside)),
        float(sum(c.seconds()[_inside(c, evidence.window)].sum() for c in inside)),
        evidence.assumptions,
        evidence.correction,
        evidence.budget,
    )


def _averages(curve: Curve, run: Run, evidence: Evidence, rule: DecisionRule) -> list[Average]:
    """Cut a run into equal parts of the rule's time or a little more, and place each mean."""
    length_s = (run.end - run.start) / SECOND
    parts = max(int(length_s // rule.average_s), 1)
    edges = np.linspace(run.start, run.end, parts + 1).astype(np.int64)
    means, covered = curve.means(edges)
    limits = guarded(evidence.window, evidence.budget, rule, length_s / parts)
    shares = covered / np.maximum(np.diff(edges) / SECOND, 1e-6)
    found = []
    for i in range(parts):
        enough = shares[i] >= rule.least_covered
        mean = float(means[i]) if enough else None
        place = Place.NO_SUPPORT if mean is None else place_of(mean, limits)
        share = min(float(shares[i]), 1.0)
        found.append(Average(int(edges[i]), int(edges[i + 1]), mean, share, place))
    return found


def place_of(mean: float, limits: Guarded) -> Place:
    """Hold a mean to the acceptance interval and to the rejection limits."""
    below = limits.reject_low is not None and mean < limits.reject_low
    above = limits.reject_high is not None and mean > limits.reject_high
    if below or above:
        return Place.OUTSIDE
    high_enough = limits.accept_low is None or mean >= limits.accept_low
    low_enough = limits.accept_high is None or mean <= limits.accept_high
    if limits.can_conform and high_enough and low_enough:
        return Place.INSIDE
    return Place.IN_DOUBT


def _inside(curve: Curve, window: Window) -> npt.NDArray[np.bool_]:
    low = -np.inf if window.low is None else window.low
    high = np.inf if window.high is None else window.high
    return np.asarray((curve.value >= low) & (curve.value <= high))


def _gaps(curve: Curve, run: Run, columns: Columns) -> list[Gap]:
    """Find what no good reading covers; any reading in it makes it uncertain, not missing."""
    cut = curve.within(run.start, run.end)
    left = np.concatenate(([run.start], cut.end))
    right = np.concatenate((cut.start, [run.end]))
    other = columns.time[columns.quality != Quality.GOOD]
    found = []
    for i in np.flatnonzero(right > left):
        begin, end = int(left[i]), int(right[i])
        some = np.searchsorted(other, begin) < np.searchsorted(other, end)
        why = Why.READINGS_UNCERTAIN if some else Why.READINGS_MISSING
        found.append(Gap(begin, end, why))
    return found


def _longest(gaps: Sequence[Gap]) -> tuple[Gap, ...]:
    """Keep the longest ones, by start."""
    kept = sorted(gaps, key=lambda g: g.start - g.end)[:MOST_LISTED]
    return tuple(sorted(kept, key=lambda g: g.start))


def _conclusion(averages: Sequence[Average]) -> Conclusion:
    places = {a.place for a in averages}
    if Place.OUTSIDE in places:
        return Conclusion.DOES_NOT_CONFORM
    return Conclusion.CONFORMS if places == {Place.INSIDE} else Conclusion.CANNOT_TELL


def _reasons(
    averages: Sequence[Average], gaps: Sequence[Gap], limits: Guarded, evidence: Evidence
) -> list[Reason]:
    named = evidence.quantity.value.replace("_", " ")
    without = [a for a in averages if a.place is Place.NO_SUPPORT]
    if without and len(without) == len(averages):
        text = f"{named}: too few good readings in every average"
        return [Reason(Why.NO_READINGS, text, averages[0].start, averages[-1].end)]
    reasons = [*_outside_reasons(named, averages), *_gap_reasons(named, without, gaps)]
    doubtful = [a for a in averages if a.place is Place.IN_DOUBT]
    if not limits.can_conform:
        text = (
            f"{named}: with U = {limits.expanded:.3g} {limits.unit} this channel can never say"
            " that it conforms to this window"
        )
        reasons.append(Reason(Why.TOO_UNCERTAIN, text))
    elif doubtful:
        text = (
            f"{named}: {len(doubtful)} of {len(averages)} averages lie nearer to a limit than the"
            f" guard band of {limits.guard:.3g} {limits.unit}"
        )
        reasons.append(Reason(Why.NEAR_THE_LIMIT, text, doubtful[0].start, doubtful[-1].end))
    return reasons


def _outside_reasons(named: str, averages: Sequence[Average]) -> list[Reason]:
    out = [a for a in averages if a.place is Place.OUTSIDE]
    if not out:
        return []
    text = f"{named}: {len(out)} of {len(averages)} averages lie outside the window beyond doubt"
    return [Reason(Why.OUTSIDE, text, out[0].start, out[-1].end)]


def _gap_reasons(named: str, without: Sequence[Average], gaps: Sequence[Gap]) -> list[Reason]:
    reasons = []
    for why, what in (
        (Why.READINGS_MISSING, "no readings"),
        (Why.READINGS_UNCERTAIN, "only readings that are uncertain or bad"),
    ):
        own = [
            g
            for g in gaps
            if g.why is why and any(a.start < g.end and a.end > g.start for a in without)
        ]
        if own:
            total_s = sum(g.end - g.start for g in own) / SECOND
            text = f"{named}: {what} in {len(own)} stretch(es), {total_s:.3g} s together"
            reasons.append(Reason(why, text, own[0].start, own[-1].end))
    return reasons
