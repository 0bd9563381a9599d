import math

import pytest

from steadybead_domain.conversion.flow import GasState
from steadybead_domain.conversion.specs import FlowPrinciple
from steadybead_domain.plant import FlowMeter
from steadybead_domain.times import DAY
from steadybead_domain.uncertainty.basis import CalibrationBasis, CheckBasis
from steadybead_domain.uncertainty.flow import FlowAssumptions, flow_budget
from steadybead_domain.uncertainty.nozzle import NozzleAssumptions, nozzle_budget
from steadybead_domain.uncertainty.tolerance import tolerance_c

CALIBRATED = CalibrationBasis(1.2, 2.0, 100 * DAY, "certificate 17")
CHECKED = CheckBasis(1.0, 0.46, 2.0, DAY, "3 reference checks")
AT_METER = GasState(20.0, 101_325.0)


@pytest.mark.parametrize(
    ("letter", "tolerance_class", "t_c", "expected_c"),
    [
        ("K", 1, 340.0, 1.5),
        ("K", 2, 340.0, 2.55),
        ("K", 1, 400.0, 1.6),
        ("K", 2, 400.0, 3.0),
        ("N", 1, 375.0, 1.5),
        ("J", 2, 333.0, 2.5),
        ("J", 1, 750.0, 3.0),
    ],
)
def test_tolerances(letter: str, tolerance_class: int, t_c: float, expected_c: float) -> None:
    """IEC 60584-1:2013 from memory, verify against the standard."""
    assert tolerance_c(letter, tolerance_class, t_c) == pytest.approx(expected_c)


@pytest.mark.parametrize(
    ("letter", "tolerance_class", "t_c", "message"),
    [("S", 1, 300.0, "enter a calibration"), ("J", 1, 800.0, "from -40 to 750 °C")],
)
def test_where_no_tolerance_is_known(
    letter: str, tolerance_class: int, t_c: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        tolerance_c(letter, tolerance_class, t_c)


def test_an_unchecked_gun_is_worth_about_six_and_a_half_degrees() -> None:
    """Own illustration: ±1.5, ±1, ±0.2, ±2 and ±5 °C, all rectangular, give U about 6.6 °C.

    It is as wide as the round-nozzle window of PP, 305..315 °C: with it nothing can conform.
    """
    budget = nozzle_budget(310.0, assumptions=NozzleAssumptions(noise_c=0.0))
    assert budget.combined == pytest.approx(3.28, abs=0.01)
    assert budget.expanded == pytest.approx(6.6, abs=0.05)
    assert budget.expanded > (315.0 - 305.0) / 2
    assert budget.largest_first()[0].name.startswith("position in the nozzle")


def test_a_reference_check_brings_it_to_about_three() -> None:
    """With a needle probe of U = 2 °C and ±0.8 °C of scatter, one check a day old."""
    one_check = CheckBasis(1.0, 0.8, math.inf, DAY, "1 reference check")
    budget = nozzle_budget(310.0, calibration=CALIBRATED, check=one_check)
    assert budget.expanded == pytest.approx(3.0, abs=0.2)
    names = {term.name for term in budget.terms}
    assert not any("tolerance" in name or "position" in name for name in names)


def test_a_calibration_replaces_the_tolerance_alone() -> None:
    without, with_one = nozzle_budget(340.0), nozzle_budget(340.0, calibration=CALIBRATED)
    names = {term.name for term in with_one.terms}
    assert {"calibration", "drift since calibration", "ordering drift"} <= names
    assert not any("tolerance" in name for name in names)
    assert with_one.expanded < without.expanded


def test_doubt_grows_with_age_and_outside_the_range() -> None:
    fresh = nozzle_budget(340.0, calibration=CALIBRATED)
    old = nozzle_budget(340.0, calibration=CalibrationBasis(1.2, 2.0, 1500 * DAY, "certificate 17"))
    beyond = nozzle_budget(
        340.0, calibration=CalibrationBasis(1.2, 2.0, 100 * DAY, "certificate 17", 200.0)
    )
    assert fresh.expanded < beyond.expanded
    assert fresh.expanded < old.expanded
    stale = nozzle_budget(340.0, check=CheckBasis(1.0, 0.46, 2.0, 30 * DAY, "3 checks"))
    assert stale.expanded > nozzle_budget(340.0, check=CHECKED).expanded


def test_the_cold_junction_counts_by_the_ratio_of_seebeck_coefficients() -> None:
    """NIST Monograph 175, type K: 40.518 µV/K at 25 °C over 41.827 µV/K at 340 °C."""
    term = next(t for t in nozzle_budget(340.0).terms if t.name == "cold junction")
    assert term.sensitivity == pytest.approx(40.518 / 41.827, abs=1e-4)


def test_every_default_is_marked_an_assumption_and_names_its_source() -> None:
    for budget in (nozzle_budget(340.0), flow_budget(50.0, FlowMeter(), AT_METER)):
        assert all(term.assumed and term.source for term in budget.terms)


def test_a_mean_of_a_run_keeps_the_systematic_terms() -> None:
    one = nozzle_budget(340.0)
    mean = one.over(600.0)
    assert mean.expanded < one.expanded
    assert mean.expanded > 0.95 * one.expanded


@pytest.mark.parametrize(
    ("principle", "power"),
    [(FlowPrinciple.ACTUAL_VOLUME, 1.0), (FlowPrinciple.VARIABLE_AREA, 0.5)],
)
def test_flow_depends_on_the_state_at_the_meter_by_its_principle(
    principle: FlowPrinciple, power: float
) -> None:
    terms = flow_budget(50.0, FlowMeter(principle), AT_METER).terms
    by_name = {term.name: term for term in terms}
    warm = by_name["temperature at the meter, taken, not measured"]
    pressed = by_name["pressure at the meter, taken, not measured"]
    assert warm.sensitivity == pytest.approx(-power * 50.0 / 293.15)
    assert pressed.sensitivity == pytest.approx(power * 50.0 / 101_325.0)


def test_a_thermal_mass_meter_does_not_depend_on_the_state() -> None:
    mass = flow_budget(50.0, FlowMeter(FlowPrinciple.THERMAL_MASS), AT_METER)
    assert not any("at the meter" in term.name for term in mass.terms)


def test_measuring_the_state_calibrating_and_checking_each_help() -> None:
    meter = FlowMeter()
    worst = flow_budget(50.0, meter, AT_METER)
    measured = flow_budget(50.0, meter, AT_METER, state_is_assumed=False)
    calibrated = flow_budget(
        50.0,
        meter,
        AT_METER,
        state_is_assumed=False,
        calibration=CalibrationBasis(0.5, 2.0, 30 * DAY, "certificate 18"),
    )
    checked = flow_budget(
        50.0,
        meter,
        AT_METER,
        FlowAssumptions(noise_l_min=0.0),
        state_is_assumed=False,
        check=CheckBasis(0.2, 0.1, 2.0, DAY, "3 checks"),
    )
    sizes = [b.expanded for b in (worst, measured, calibrated, checked)]
    assert sizes == sorted(sizes, reverse=True)
    assert len(set(sizes)) == 4
