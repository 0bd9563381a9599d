"""The shop's calendar: hours of its zone, over nights, holidays and the change of the clocks."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.times import DAY, HOUR, MINUTE, parse_rfc3339

LISBON = WorkCalendar("Europe/Lisbon", hours=((420, 720), (750, 945)))
MONDAY = parse_rfc3339("2026-05-04T00:00:00Z")


def at(text: str) -> int:
    return parse_rfc3339(f"2026-{text}Z")


def test_hours_are_those_of_the_zone() -> None:
    """Lisbon is an hour ahead of UTC in May."""
    assert not LISBON.is_open(at("05-04T05:59:59"))
    assert LISBON.is_open(at("05-04T06:00:00"))
    assert not LISBON.is_open(at("05-04T11:00:00"))
    assert LISBON.opens(at("05-04T11:10:00")) == at("05-04T11:30:00")
    assert LISBON.opens(at("05-08T20:00:00")) == at("05-11T06:00:00")
    assert LISBON.closes(at("05-04T07:00:00")) == at("05-04T11:00:00")
    assert LISBON.closes(at("05-04T11:10:00")) == at("05-04T11:10:00")


def test_working_time_skips_breaks_nights_weekends_and_holidays() -> None:
    closed = WorkCalendar(
        "Europe/Lisbon", hours=LISBON.hours, holidays=frozenset([dt.date(2026, 5, 5)])
    )
    friday = at("05-08T13:00:00")
    assert LISBON.after(friday, 2 * HOUR) == at("05-11T06:15:00")
    assert LISBON.working(MONDAY, MONDAY + 7 * DAY) == 5 * (8 * HOUR + 15 * MINUTE)
    assert closed.working(MONDAY, MONDAY + 7 * DAY) == 4 * (8 * HOUR + 15 * MINUTE)
    assert closed.opens(at("05-04T20:00:00")) == at("05-06T06:00:00")


def test_a_night_shift_runs_into_the_next_day_and_over_the_change_of_the_clocks() -> None:
    """Clocks in the EU go back at 01:00 UTC on 2026-10-25 (Directive 2000/84/EC, from memory)."""
    nights = WorkCalendar("Europe/Berlin", days=(5,), hours=((1320, 360),))
    start, end = at("10-24T20:00:00"), at("10-25T05:00:00")
    assert nights.is_open(start)
    assert nights.is_open(end - 1)
    assert not nights.is_open(end)
    assert nights.working(start - DAY, end + DAY) == 9 * HOUR


def test_a_calendar_without_hours_says_so() -> None:
    never = WorkCalendar(days=())
    with pytest.raises(ValueError, match="no working hours"):
        never.opens(MONDAY)
    with pytest.raises(ValueError, match="does not fit"):
        never.after(MONDAY, HOUR)


@given(
    start=st.integers(0, 400 * DAY),
    hours=st.floats(0.01, 300.0),
    zone=st.sampled_from(["UTC", "Europe/Lisbon", "Australia/Lord_Howe", "America/New_York"]),
    shift=st.sampled_from([((420, 960),), ((360, 720), (750, 1440)), ((1320, 360),)]),
)
def test_after_and_working_agree(
    start: int, hours: float, zone: str, shift: tuple[tuple[int, int], ...]
) -> None:
    calendar = WorkCalendar(zone, hours=shift)
    begin, length = MONDAY + start, round(hours * HOUR)
    end = calendar.after(begin, length)
    assert calendar.working(begin, end) == length
    assert calendar.is_open(end - 1)
    assert calendar.opens(begin) <= end
