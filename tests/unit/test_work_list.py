"""The work list: running hours become days of the shop's calendar."""

from dataclasses import replace

import pytest

from calibration_samples import FITTING, INSTRUMENT
from maintenance_samples import BAY_1, T0, drift_finding, filter_finding
from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.calibration.due import CalibrationState, Due
from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.diagnosis.standing import Standing, finding_id, urgency_of
from steadybead_domain.times import DAY, HOUR, parse_rfc3339
from steadybead_domain.work_list import Running, WorkItem, WorkKind, work_list

WEEK = WorkCalendar("UTC", hours=((420, 720), (750, 930)))  # 7-12, 12:30-15:30: 8 h a day


def stands(finding: Finding) -> Standing:
    return Standing(finding_id(finding), finding, urgency_of(finding))


def listed(
    *findings: Finding, share: float = 1.0, now: int = T0, due: Due | None = None
) -> list[WorkItem]:
    calibrations = [] if due is None else [(INSTRUMENT, FITTING, due)]
    running = {BAY_1: Running(share)}
    return work_list([stands(f) for f in findings], calibrations, running, WEEK, now)


def test_a_filters_running_hours_are_told_as_a_day() -> None:
    """Monday 7:30 and 30 h at 8 h a day: 8 - 0.5 on Monday, 8, 8, and 6.5 on Thursday."""
    (item,) = listed(filter_finding(hours=30.0))
    assert item.kind is WorkKind.FILTER
    assert item.due == parse_rfc3339("2026-05-07T14:00:00Z")
    assert item.earliest == parse_rfc3339("2026-05-06T13:00:00Z")
    assert item.latest == parse_rfc3339("2026-05-11T09:30:00Z")
    assert not item.is_overdue(T0)


def test_a_station_that_runs_half_the_time_lasts_twice_as_long() -> None:
    (item,) = listed(filter_finding(hours=15.0), share=0.5)
    assert item.due == parse_rfc3339("2026-05-07T14:00:00Z")


def test_the_id_stays_while_the_forecast_moves() -> None:
    first, second = filter_finding(hours=30.0), filter_finding(at_s=3600.0, hours=20.0)
    assert listed(first)[0].id == listed(second)[0].id == "filter-north-bay-1"


def test_a_full_filter_is_due_since_it_was_found_full() -> None:
    (item,) = listed(filter_finding("filter_limit", since_s=-600.0), now=T0 + HOUR)
    assert item.is_overdue(T0 + HOUR)
    assert item.kind is WorkKind.FILTER


def test_an_element_to_check_is_planned_and_a_lost_one_is_due_now() -> None:
    ageing = replace(
        drift_finding(kind="element_ageing"), sureness=Sureness.LIKELY, channel=None, evidence=()
    )
    (planned,) = listed(ageing)
    assert planned.kind is WorkKind.ELEMENT
    assert WEEK.working(T0, planned.due) == 40 * HOUR
    (now,) = listed(replace(ageing, kind="element_headroom_lost"))
    assert now.due == T0


def test_a_drift_asks_for_a_check_when_the_shop_opens() -> None:
    night = drift_finding(start=T0 - 6 * HOUR)
    (item,) = listed(night)
    assert (item.kind, item.due) == (WorkKind.CHECK, parse_rfc3339("2026-05-04T07:00:00Z"))


@pytest.mark.parametrize(
    ("state", "when", "expected"),
    [
        (CalibrationState.VALID, T0 + 200 * DAY, None),
        (CalibrationState.VALID, T0 + 60 * DAY, T0 + 60 * DAY),
        (CalibrationState.OVERDUE, T0 - DAY, T0 - DAY),
    ],
)
def test_calibrations_within_ninety_days(
    state: CalibrationState, when: int, expected: int | None
) -> None:
    items = listed(due=Due(INSTRUMENT.id, state, when, None, False))
    assert [i.due for i in items] == ([] if expected is None else [expected])
    if items:
        assert items[0].href == f"/sensors/{FITTING.channel}"


def test_what_is_due_first_stands_first_and_a_mere_forecast_far_away_is_left_out() -> None:
    items = listed(
        filter_finding(hours=5000.0),
        drift_finding(),
        due=Due("i", CalibrationState.OVERDUE, T0 - 1, None, False),
    )
    assert [i.kind for i in items] == [WorkKind.CALIBRATION, WorkKind.CHECK]
    assert listed(filter_finding(hours=None)) == []
