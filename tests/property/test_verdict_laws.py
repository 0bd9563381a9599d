"""Laws of verdicts under random records."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from steadybead_domain.readings import Columns, Quality
from steadybead_domain.times import SECOND
from steadybead_domain.verdict.conclude import conclude
from steadybead_domain.verdict.model import Conclusion, Verdict
from steadybead_domain.verdict.rule import DecisionRule
from verdict_samples import T0, air, case, curve, heat, steady

LAWS = settings(max_examples=60, deadline=None)
LEVELS = st.lists(st.floats(280.0, 360.0), min_size=22, max_size=22)


def record(levels: list[float]) -> Columns:
    """Make ten seconds at each level, from ten seconds before the record."""
    return curve(np.repeat(levels, 50))


def judged(columns: Columns, standard: float = 1.5, rule: DecisionRule | None = None) -> Verdict:
    evidence = (heat(columns, standard), air(steady(50.0)))
    return conclude(case(*evidence), rule or DecisionRule())


@LAWS
@given(LEVELS, st.floats(0.2, 6.0), st.floats(0.2, 6.0))
def test_more_uncertainty_never_makes_a_verdict_clearer(
    levels: list[float], one: float, two: float
) -> None:
    sure, unsure = sorted((one, two))
    clear, vague = judged(record(levels), sure), judged(record(levels), unsure)
    assert vague.conclusion in {clear.conclusion, Conclusion.CANNOT_TELL} or (
        # a cold stretch can drown in the uncertainty, but nothing can come to conform by it
        clear.conclusion is Conclusion.DOES_NOT_CONFORM
        and vague.conclusion is not Conclusion.CONFORMS
    )


@LAWS
@given(LEVELS, st.integers(0, 199), st.integers(3, 60))
def test_losing_whole_averages_never_makes_a_record_conform(
    levels: list[float], start_s: int, length_s: int
) -> None:
    columns = record(levels)
    gone = (columns.time >= T0 + start_s * SECOND) & (
        columns.time < T0 + (start_s + length_s) * SECOND
    )
    before, after = judged(columns), judged(columns.take(~gone))
    quality = np.where(gone, Quality.UNCERTAIN, columns.quality).astype(np.uint8)
    doubted = judged(replace(columns, quality=quality))
    if before.conclusion is Conclusion.CONFORMS:
        assert after.conclusion is not Conclusion.DOES_NOT_CONFORM
    if length_s >= 15 and start_s + length_s <= 198:  # it covers too much of some average
        assert after.conclusion is not Conclusion.CONFORMS
        assert doubted.conclusion is not Conclusion.CONFORMS


@LAWS
@given(LEVELS)
def test_times_inside_and_outside_make_the_whole(levels: list[float]) -> None:
    verdict = judged(record(levels))
    (found, _) = verdict.judgements
    outside_s = sum(e.length_s for e in found.excursions)
    assert found.covered_s <= found.judged_s + 1e-6
    assert found.inside_s <= found.covered_s + 1e-6
    assert outside_s >= found.covered_s - found.inside_s - 1e-6  # joined pauses count there too


@LAWS
@given(LEVELS, st.floats(0.001, 0.2), st.floats(0.001, 0.2))
def test_a_smaller_risk_tells_less(levels: list[float], one: float, two: float) -> None:
    small, large = sorted((one, two))
    strict = judged(record(levels), rule=DecisionRule(risk=small))
    easy = judged(record(levels), rule=DecisionRule(risk=large))
    if strict.conclusion is Conclusion.DOES_NOT_CONFORM:
        assert easy.conclusion is Conclusion.DOES_NOT_CONFORM
    if strict.conclusion is Conclusion.CONFORMS:
        assert easy.conclusion is Conclusion.CONFORMS


@LAWS
@given(LEVELS, st.floats(0.0, 900.0), st.integers(1, 300))
def test_what_was_read_after_the_stop_does_not_matter(
    levels: list[float], value: float, count: int
) -> None:
    columns = record(levels).take(slice(0, 1050))  # 10 s before to the stop at 200 s
    later = curve(np.full(count, value), start_s=200.0)
    longer = Columns.concat((columns, later))
    one, two = judged(columns), judged(longer)
    assert (one.conclusion, len(one.excursions)) == (two.conclusion, len(two.excursions))
    for a, b in zip(one.judgements[0].averages, two.judgements[0].averages, strict=True):
        assert (a.place, a.mean) == (b.place, pytest.approx(b.mean))
