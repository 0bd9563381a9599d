from dataclasses import replace

import pytest

from calibration_samples import CHANNEL, FITTING, NOW, check, offset
from steadybead_domain.calibration.model import Fitting
from steadybead_domain.calibration.timeline import timeline
from steadybead_domain.conversion.flow import GasState
from steadybead_domain.conversion.specs import FlowPrinciple, Thermocouple
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, FlowMeter
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, HOUR
from steadybead_domain.uncertainty.nozzle import NozzleAssumptions
from steadybead_domain.uncertainty.worth import worth_of_flow, worth_of_temperature

NOZZLE = Channel(CHANNEL, Quantity.NOZZLE_TEMPERATURE, "mV", Thermocouple("N", 25.0))
FLOW_ID = ChannelId("north", "bay-1", "gun-a/flow")
FLOW = Channel(FLOW_ID, Quantity.AIR_FLOW, "L/min", flow=FlowMeter(FlowPrinciple.VARIABLE_AREA))
BARE = timeline(CHANNEL, "Cel", [], [])
CALIBRATED = timeline(CHANNEL, "Cel", [FITTING], [offset(305.0, 300.0, certificate="C-17")])


def test_without_records_the_value_stays_and_all_is_assumed() -> None:
    worth = worth_of_temperature(310.0, NOW, NOZZLE, BARE, [], nozzle="round 4 mm")
    assert (worth.recorded, worth.recalibrated, worth.best) == (310.0, 310.0, 310.0)
    assert worth.correction is None
    assert worth.budget.terms[0].name == "tolerance, type N class 1"
    assert all(term.assumed for term in worth.budget.terms)


def test_calibration_and_check_correct_in_turn() -> None:
    """305 is recalibrated to 300; a probe read 304 while the trace showed 301, so 296: +8."""
    checks = [check(reference=304.0, shown=301.0)]
    worth = worth_of_temperature(305.0, NOW, NOZZLE, CALIBRATED, checks, nozzle="speed 5 mm")
    assert (worth.recalibrated, worth.best) == pytest.approx((300.0, 308.0))
    assert worth.correction is not None
    assert worth.correction.checks == ("check-1",)
    names = [term.name for term in worth.budget.terms]
    assert "reference instrument of the check" in names
    other = worth_of_temperature(305.0, NOW, NOZZLE, CALIBRATED, checks, nozzle="round 4 mm")
    assert other.best == 300.0
    source = next(t.source for t in other.budget.terms if t.name == "calibration")
    assert "calibration cal-1 of 20" in source
    assert "certificate C-17, against needle probe 44-12" in source


def test_a_check_of_the_sensor_before_this_one_does_not_count() -> None:
    moved = [Fitting("old", CHANNEL, NOW - 9 * DAY, NOW - DAY), Fitting("new", CHANNEL, NOW - DAY)]
    line = timeline(CHANNEL, "Cel", moved, [])
    old = check(time=NOW - 2 * DAY)
    assert worth_of_temperature(305.0, NOW, NOZZLE, line, [old], nozzle=old.nozzle).best == 305.0
    fresh = check(time=NOW - HOUR)
    assert worth_of_temperature(305.0, NOW, NOZZLE, line, [fresh], nozzle=old.nozzle).best == 313.0


def test_outside_the_calibrated_range_doubt_grows() -> None:
    inside = worth_of_temperature(599.0, NOW, NOZZLE, CALIBRATED, [], nozzle="")
    beyond = worth_of_temperature(800.0, NOW, NOZZLE, CALIBRATED, [], nozzle="")
    assert not any("outside" in t.name for t in inside.budget.terms)
    assert next(t for t in beyond.budget.terms if "outside" in t.name).half_width == 2.0


def test_a_type_without_known_tolerance_takes_a_wide_one_and_says_so() -> None:
    odd = replace(NOZZLE, conversion=Thermocouple("S", 25.0))
    term = worth_of_temperature(310.0, NOW, odd, BARE, [], nozzle="").budget.terms[0]
    assert term.half_width == NozzleAssumptions().unknown_tolerance_c
    assert "no tolerance known for type S class 1" in term.source


def test_flow_is_corrected_by_its_own_checks() -> None:
    line = timeline(FLOW_ID, "L/min", [], [])
    at_meter = GasState(20.0, 101_325.0)
    checks = [
        check(channel=FLOW_ID, reference=48.0, shown=50.0, expanded_uncertainty=1.0),
        check(id="of the nozzle", reference=340.0, shown=300.0),
    ]
    worth = worth_of_flow(
        50.0, NOW, FLOW, line, checks, nozzle="speed 5 mm", at_meter=at_meter, state_is_assumed=True
    )
    assert worth.best == pytest.approx(48.0)
    assert worth.budget.unit == "L/min"
    names = [term.name for term in worth.budget.terms]
    assert "temperature at the meter, taken, not measured" in names
    assert worth.budget.expanded == pytest.approx(2.0 * worth.budget.combined)
