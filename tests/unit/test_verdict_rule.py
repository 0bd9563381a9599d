"""The decision rule, held to worked examples of JCGM 106:2012 (figures from memory)."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from steadybead_domain.procedures import Window
from steadybead_domain.uncertainty.budget import Budget, Distribution, Term
from steadybead_domain.verdict.judge import place_of
from steadybead_domain.verdict.model import Place
from steadybead_domain.verdict.rule import (
    DEFAULT_RISK,
    DecisionRule,
    conformance_probability,
    guarded,
)
from verdict_samples import budget

PP_ROUND = Window(305.0, 315.0, "Cel")


def test_jcgm_106_example_of_a_zener_diode_upper_limit() -> None:
    # JCGM 106:2012, 7.3.3 example: V_B = -5.47 V, u = 0.05 V, limit -5.40 V; p_c = Phi(1.40) = 0.92
    found = conformance_probability(-5.47, 0.05, None, -5.40)
    assert found == pytest.approx(0.92, abs=0.005)


def test_jcgm_106_example_of_motor_oil_two_limits() -> None:
    # JCGM 106:2012, 7.4 example: SAE 40, 12.5 to 16.3 mm2/s, y = 13.6, u = 1.8; p_c = 0.66
    found = conformance_probability(13.6, 1.8, 12.5, 16.3)
    assert found == pytest.approx(0.66, abs=0.005)


def test_jcgm_106_example_of_a_speed_limit_guarded_rejection() -> None:
    # JCGM 106:2012, 8.3.3.2 example: 100 km/h, u = 2 % of speed, 99.9 %: act from 107 km/h on
    rule = DecisionRule(risk=0.001)
    assert rule.factor() == pytest.approx(3.09, abs=0.005)
    speed = 100.0 / (1.0 - rule.factor() * 0.02)
    assert math.ceil(speed) == 107
    limits = guarded(Window(None, 100.0, "km/h"), budget(0.02 * speed, "km/h"), rule, 10.0)
    assert limits.reject_high == pytest.approx(speed, abs=1e-9)
    assert conformance_probability(speed, 0.02 * speed, None, 100.0) == pytest.approx(
        0.001, rel=0.01
    )


def test_guard_band_of_the_default_rule_is_u() -> None:
    # ISO 14253-1 default rule, JCGM 106:2012 8.3.2.2: w = U with k = 2; at most 2.3 % false accept
    limits = guarded(Window(300.0, 340.0, "Cel"), budget(2.0), DecisionRule(), 10.0)
    assert (limits.guard, limits.expanded) == (4.0, 4.0)
    assert (limits.accept_low, limits.accept_high) == (304.0, 336.0)
    assert (limits.reject_low, limits.reject_high) == (296.0, 344.0)
    assert pytest.approx(0.02275, abs=1e-5) == DEFAULT_RISK


def test_a_risk_of_five_percent_gives_the_one_sided_factor() -> None:
    # JCGM 106:2012, 8.3.2: p_c >= 95 % at the acceptance limit needs w = 1.64 u
    assert DecisionRule(risk=0.05).factor() == pytest.approx(1.645, abs=0.001)


@pytest.mark.parametrize("standard", [3.3, 2.6, 2.5])
def test_a_wide_uncertainty_can_never_say_conforms(standard: float) -> None:
    limits = guarded(PP_ROUND, budget(standard), DecisionRule(), 10.0)
    assert not limits.can_conform
    assert limits.accept_low is None
    for mean in np.linspace(300, 320, 41):
        assert place_of(float(mean), limits) is not Place.INSIDE


def test_with_reference_checks_only_the_middle_conforms() -> None:
    limits = guarded(PP_ROUND, budget(1.5), DecisionRule(), 10.0)
    assert limits.accept_low == pytest.approx(308.0, abs=1e-3)
    assert limits.accept_high == pytest.approx(312.0, abs=1e-3)


def test_a_narrow_window_counts_both_tails() -> None:
    # w < half of the window, yet with both tails no value is 97.7 % sure: 2 Phi(2.08) - 1 = 0.963
    limits = guarded(PP_ROUND, budget(2.4), DecisionRule(), 10.0)
    assert not limits.can_conform


def test_noise_averages_away_and_the_rest_does_not() -> None:
    noisy = budget(1.5, noise=2.0)
    one = guarded(PP_ROUND, noisy, DecisionRule(average_s=1.0), 1.0)
    many = guarded(PP_ROUND, noisy, DecisionRule(average_s=100.0), 100.0)
    assert one.standard == pytest.approx(2.5)
    assert many.standard == pytest.approx(math.hypot(1.5, 0.2))
    assert many.standard > 1.5


def test_few_degrees_of_freedom_widen_the_band() -> None:
    few = Budget((Term("scatter", 1.0, "°C", Distribution.NORMAL, 1.0, dof=4.0),), "°C")
    limits = guarded(Window(300.0, 340.0, "Cel"), few, DecisionRule(), 10.0)
    assert limits.guard == pytest.approx(2.869, abs=0.001)  # t(0.9545, 4), JCGM 100:2008 table G.2


@pytest.mark.parametrize("window", [Window(300.0, None, "Cel"), Window(None, 340.0, "Cel")])
def test_an_open_side_has_no_limit(window: Window) -> None:
    limits = guarded(window, budget(1.0), DecisionRule(), 10.0)
    assert limits.can_conform
    assert place_of(1e6 if window.high is None else -1e6, limits) is Place.INSIDE


@given(
    st.floats(0.1, 20.0),
    st.floats(1.0, 60.0),
    st.floats(0.001, 0.25),
    st.floats(-40.0, 100.0),
)
def test_what_conforms_is_probable_enough_and_what_does_not_is_not(
    standard: float, width: float, risk: float, mean: float
) -> None:
    limits = guarded(Window(0.0, width, "Cel"), budget(standard), DecisionRule(risk=risk), 10.0)
    inside = float(norm.cdf((width - mean) / standard) - norm.cdf(-mean / standard))
    place = place_of(mean, limits)
    if place is Place.INSIDE:
        assert inside >= 1.0 - risk - 1e-4
    if place is Place.OUTSIDE:
        assert inside <= risk + 1e-4
    if place is Place.IN_DOUBT:
        assert risk - 1e-4 <= inside <= 1.0 - risk + 1e-3 or not limits.can_conform
