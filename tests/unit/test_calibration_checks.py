import math
from dataclasses import replace

import numpy as np
import pytest

from calibration_samples import (
    CHANNEL,
    FITTING,
    INSTRUMENT,
    NOW,
    OTHER_CHANNEL,
    calibration,
    check,
    offset,
)
from steadybead_domain.calibration.due import CalibrationState, due
from steadybead_domain.calibration.impact import (
    Growth,
    Witness,
    calibration_witnesses,
    can_reveal,
    check_witnesses,
    doubted_by_calibration,
    error_at,
    span_in_doubt,
)
from steadybead_domain.calibration.reference_check import (
    ReferenceCheck,
    checks_in_force,
    nozzle_correction,
    recalibrated,
)
from steadybead_domain.calibration.timeline import timeline
from steadybead_domain.times import DAY, HOUR

NOZZLE = "speed 5 mm"


def series(*deviations: float, flows: tuple[float, ...] = ()) -> list[ReferenceCheck]:
    return [
        check(
            id=f"check-{i}",
            time=NOW - (len(deviations) - i) * HOUR,
            shown=320.0 + d,
            flow_l_min=flows[i] if flows else 50.0,
        )
        for i, d in enumerate(deviations)
    ]


def test_one_check_gives_its_correction_with_an_assumed_scatter() -> None:
    found = nozzle_correction(series(-8.0), CHANNEL, NOZZLE, NOW, 50.0)
    assert found is not None
    assert found.value == 8.0
    assert found.basis.reference_standard == 1.0
    assert found.basis.scatter_standard == pytest.approx(0.8)
    assert math.isinf(found.basis.dof)
    assert found.basis.age_us == HOUR
    assert not found.beyond


def test_several_checks_average_and_show_their_own_scatter() -> None:
    found = nozzle_correction(series(-6.0, -8.0, -10.0), CHANNEL, NOZZLE, NOW)
    assert found is not None
    assert found.value == pytest.approx(8.0)
    assert found.basis.scatter_standard == pytest.approx(2.0 / math.sqrt(3))
    assert found.basis.dof == 2
    assert found.basis.reference_standard == 1.0


def test_the_correction_follows_the_flow() -> None:
    flows = (40.0, 45.0, 50.0, 55.0, 60.0)
    rising = series(*(-0.2 * f for f in flows), flows=flows)
    at = {f: nozzle_correction(rising, CHANNEL, NOZZLE, NOW, f) for f in (42.0, 58.0, 90.0)}
    values = [found.value for found in at.values() if found is not None]
    assert values == pytest.approx([8.4, 11.6, 12.0])
    assert [found.beyond for found in at.values() if found is not None] == [False, False, True]


def test_only_checks_that_fit_count() -> None:
    checks = [
        *series(-8.0),
        check(id="other nozzle", nozzle="round 4 mm", shown=330.0),
        check(id="later", time=NOW + HOUR, shown=330.0),
        check(id="other gun", channel=OTHER_CHANNEL, shown=330.0),
        check(id="wrong", shown=330.0),
        check(id="wrong", shown=330.0, revision=2, withdrawn=True),
    ]
    found = nozzle_correction(checks, CHANNEL, NOZZLE, NOW)
    assert found is not None
    assert found.checks == ("check-0",)
    assert nozzle_correction(checks, CHANNEL, NOZZLE, NOW, since=NOW) is None
    assert nozzle_correction([], CHANNEL, NOZZLE, NOW) is None


def test_the_newest_revision_counts_in_whatever_order_they_come() -> None:
    first, second = check(shown=330.0), check(shown=312.0, revision=2)
    assert checks_in_force([first, second]) == checks_in_force([second, first]) == [second]


def test_the_newest_five_count() -> None:
    found = nozzle_correction(series(*[-50.0] * 3, *[-8.0] * 5), CHANNEL, NOZZLE, NOW)
    assert found is not None
    assert (found.value, len(found.checks)) == (8.0, 5)


def test_checks_are_put_on_the_recalibrated_footing() -> None:
    line = timeline(CHANNEL, "Cel", [FITTING], [offset(305.0, 300.0)])
    moved = recalibrated(series(-8.0), line)
    assert moved[0].shown == pytest.approx(307.0)
    assert [c.id for c in checks_in_force(moved)] == ["check-0"]


@pytest.mark.parametrize(
    ("days", "state"),
    [
        (0, CalibrationState.VALID),
        (340, CalibrationState.VALID),
        (342, CalibrationState.DUE_SOON),
        (354.9, CalibrationState.DUE_SOON),
        (355, CalibrationState.OVERDUE),
    ],
)
def test_due_by_the_instruments_interval(days: float, state: CalibrationState) -> None:
    found = due(INSTRUMENT, [calibration(points=())], NOW + round(days * DAY))
    assert (found.state, found.due) == (state, NOW + 355 * DAY)


def test_a_due_date_goes_before_the_interval() -> None:
    found = due(INSTRUMENT, [calibration(due=NOW + DAY)], NOW)
    assert (found.state, found.due) == (CalibrationState.DUE_SOON, NOW + DAY)
    assert found.failed_as_found
    assert not due(INSTRUMENT, [offset(301.9, 300.0)], NOW).failed_as_found


def test_an_instrument_without_calibration_or_interval() -> None:
    assert due(INSTRUMENT, [], NOW).state is CalibrationState.NEVER_CALIBRATED
    ageless = replace(INSTRUMENT, interval_days=None)
    assert due(ageless, [calibration()], NOW + 9999 * DAY).state is CalibrationState.VALID


def test_a_witness_reveals_only_what_exceeds_its_own_doubt() -> None:
    assert can_reveal(Witness("a", 0, 0.5, 2.0), 3.0)
    assert not can_reveal(Witness("a", 0, 0.5, 2.0), 2.5)
    assert not can_reveal(Witness("a", 0, -2.0, 2.0), -3.0)


def test_doubt_reaches_back_to_the_last_check_that_could_tell() -> None:
    witnesses = [
        Witness("bench", NOW - 90 * DAY, 0.0, 1.0),
        Witness("good probe", NOW - 30 * DAY, 0.5, 2.0),
        Witness("poor probe", NOW - 10 * DAY, 0.5, 5.0),
        Witness("after", NOW + DAY, 0.0, 1.0),
    ]
    span = span_in_doubt(4.0, NOW, witnesses, NOW - 100 * DAY)
    assert span.good is not None
    assert (span.good.id, span.start, span.end) == ("good probe", NOW - 30 * DAY, NOW)
    assert span_in_doubt(4.0, NOW, [], NOW - 100 * DAY).start == NOW - 100 * DAY


def test_a_failed_as_found_puts_a_span_in_doubt_and_a_good_one_does_not() -> None:
    before = offset(300.0, 300.0, id="first", performed=NOW - 60 * DAY, effective=NOW - 60 * DAY)
    failed = offset(305.0, 300.0)
    witnesses = calibration_witnesses([before, failed], INSTRUMENT)
    span = doubted_by_calibration(failed, INSTRUMENT, FITTING, witnesses)
    assert span is not None
    assert (span.start, span.end, span.error) == (NOW - 60 * DAY, NOW - 10 * DAY, 5.0)
    assert doubted_by_calibration(offset(301.0, 300.0), INSTRUMENT, FITTING, witnesses) is None


def test_a_steady_offset_by_position_is_no_drift() -> None:
    witnesses = check_witnesses(series(-8.0, -8.5, -4.0), CHANNEL)
    assert [w.deviation for w in witnesses] == [0.0, -0.5, 4.0]


def test_the_error_grows_in_a_line_or_counts_in_full() -> None:
    span = span_in_doubt(4.0, NOW, [Witness("w", NOW - 4 * DAY, 1.0, 0.5)], NOW - 9 * DAY)
    time = np.array([NOW - 5 * DAY, NOW - 4 * DAY, NOW - 2 * DAY, NOW - 1, NOW])
    grown = error_at(span, time, Growth.LINEAR)
    assert grown == pytest.approx([0.0, 1.0, 2.5, 4.0, 0.0], abs=1e-6)
    assert error_at(span, time, Growth.FULL).tolist() == [0.0, 4.0, 4.0, 4.0, 0.0]
