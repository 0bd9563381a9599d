"""Weighing causes: the sum behind it, names, doubt, and what cannot be seen."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from steadybead_domain.diagnosis.causes import (
    MODEL_ERROR,
    Signature,
    in_question,
    merged,
    smallest_size,
    weigh,
    worth_telling,
)
from steadybead_domain.diagnosis.scope import scope_of
from steadybead_domain.diagnosis.signatures import (
    FAMILIES,
    FLOW_METER,
    THERMOCOUPLE,
    Sensitivity,
    signatures,
)

USUAL = Sensitivity(
    per_c=0.33,
    per_pct=0.85,
    flow_l_min=50.0,
    regulated=True,
    measured_power=True,
    supply_known=True,
)


def test_shares_agree_with_the_multivariate_normal_of_scipy() -> None:
    one = Signature("one", "%", {"a": 1.0, "b": -0.5}, 4.0, 1.0, 0.3, {"b": 2.0})
    two = Signature("two", "%", {"b": 1.0}, 6.0, 1.0, 0.7)
    shifts = {"a": (2.0, 0.7), "b": (-1.5, 0.4)}
    expected = []
    for s in (one, two):
        move = np.array([s.moves.get(n, 0.0) for n in shifts])
        spread = [(MODEL_ERROR * shifts[n][1]) ** 2 + s.free.get(n, 0.0) ** 2 for n in shifts]
        covariance = np.diag(spread) + s.size**2 * np.outer(move, move)
        likelihood = multivariate_normal(cov=covariance).pdf([v for v, _ in shifts.values()])
        expected.append(s.prior * likelihood)
    found = {w.cause: w.share for w in weigh([one, two], shifts)}
    assert found["one"] == pytest.approx(expected[0] / sum(expected))
    assert found["two"] == pytest.approx(expected[1] / sum(expected))


def named(shifts: dict[str, tuple[float, float]], about: Sensitivity = USUAL) -> list[str]:
    known = signatures(about, cold_emf="cold_emf" in shifts, cold_flow="cold_flow" in shifts)
    found = merged(weigh(known, shifts), FAMILIES)
    return [w.cause for w in worth_telling(in_question(found))]


def test_balance_alone_cannot_tell_thermocouple_from_flow_meter() -> None:
    found = named({"balance": (-3.5, 0.6)})
    assert {THERMOCOUPLE, FLOW_METER} <= set(found)


def test_the_needle_probe_tells_them_apart() -> None:
    assert named({"balance": (-3.5, 0.6), "probe": (10.0, 0.8), "meter": (0.1, 1.5)}) == [
        THERMOCOUPLE
    ]
    assert named({"balance": (-3.5, 0.6), "probe": (0.2, 0.8), "meter": (4.3, 1.2)}) == [FLOW_METER]


def test_what_is_regulated_on_hides_its_drift_from_the_set_value() -> None:
    free = Sensitivity(0.33, 0.85, 50.0, False, True, True)
    both = {"balance": (-3.4, 0.6), "set_gap": (10.0, 0.5)}
    assert named(both, free) == [THERMOCOUPLE]
    moves = {s.cause: s.moves for s in signatures(USUAL, cold_emf=False, cold_flow=False)}
    assert "set_gap" not in moves[THERMOCOUPLE]


def test_a_valve_that_was_opened_is_no_finding() -> None:
    assert named({"balance": (0.2, 0.7), "flow": (12.0, 1.5)}) == []


def test_small_sizes_are_not_told() -> None:
    assert named({"probe": (0.9, 0.2), "balance": (-0.3, 0.3)}) == []


def test_a_side_holds() -> None:
    rising = Signature("worn", "%", {"r": 1.0}, 5.0, 1.0, 0.5, side=1)
    other = Signature("other", "%", {"r": 1.0}, 5.0, 1.0, 0.5)
    assert weigh([rising, other], {"r": (-4.0, 0.5)})[0].cause == "other"


def test_smallest_size_comes_from_the_most_telling_figure() -> None:
    s = Signature("x", "Cel", {"a": 0.5, "b": 1.0}, 5.0, 1.0, 0.5)
    assert smallest_size(s, {"a": 2.0, "b": 3.0}) == pytest.approx(3.0)
    assert smallest_size(s, {"a": 1.0}) == pytest.approx(2.0)
    assert smallest_size(s, {"c": 1.0}) is None


def test_scope_says_what_cannot_be_seen() -> None:
    known = signatures(USUAL, cold_emf=False, cold_flow=False)
    found = {s.cause: s for s in scope_of(known, {"flow": 6.0}, ["balance"], {})}
    assert found[THERMOCOUPLE].smallest is None
    assert "still learning" in found[THERMOCOUPLE].words
    assert "not detectable with the channels at hand" in found["element_ageing"].words
    assert found["flow_loss"].smallest == pytest.approx(10.0)
