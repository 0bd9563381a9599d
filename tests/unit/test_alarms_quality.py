"""Alarm quality against cases counted by hand."""

from dataclasses import replace

import pytest

from steadybead_domain.alarms.book import AlarmBook
from steadybead_domain.alarms.change import Change
from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.alarms.quality import alarm_quality
from steadybead_domain.ids import StationId
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND

T0 = 1_777_900_000 * SECOND


def spell(came_s: float, gone_s: float | None, bay: str = "bay-1") -> list[AlarmFact]:
    book = AlarmBook(StationId("north", bay))
    facts = book.apply(Change(T0 + round(came_s * SECOND), "flow_low", True, gun="a"))
    if gone_s is not None:
        facts += book.apply(Change(T0 + round(gone_s * SECOND), "flow_low", False, gun="a"))
    return facts


def test_rate_counts_raises_over_attended_hours() -> None:
    facts = [f for i in range(4) for f in spell(600 * i, 600 * i + 60)]
    found = alarm_quality(facts, T0, T0 + 8 * HOUR)
    assert (found.raised, found.per_hour) == (4, 0.5)
    assert alarm_quality(facts, T0, T0 + 8 * HOUR, attended_h=2.0).per_hour == 2.0
    assert found.worst == (("north/bay-1/a:flow_low", 4),)
    assert found.flood_share == 0.0


def test_eleven_in_ten_minutes_are_a_flood_and_ten_are_none() -> None:
    eleven = [f for i in range(11) for f in spell(30 * i, 30 * i + 5, f"bay-{i}")]
    flooded = alarm_quality(eleven, T0, T0 + HOUR)
    # begins with the eleventh at 300 s, ends when the seventh (180 s) is 10 min past: 480 s
    assert flooded.flood_share == pytest.approx(480 / 3600)
    assert flooded.most_in_ten_minutes == 11
    assert alarm_quality(eleven[:-2], T0, T0 + HOUR).flood_share == 0.0


def test_a_flood_at_the_end_counts_up_to_the_end() -> None:
    eleven = [f for i in range(11) for f in spell(3000 + 10 * i, None, f"bay-{i}")]
    found = alarm_quality(eleven, T0, T0 + HOUR)
    assert found.flood_share == pytest.approx(500 / 3600)


def test_three_in_a_minute_chatter() -> None:
    thrice = [f for t in (0, 20, 45) for f in spell(t, t + 5)]
    assert alarm_quality(thrice, T0, T0 + HOUR).chattering == ("north/bay-1/a:flow_low",)
    slow = [f for t in (0, 30, 75) for f in spell(t, t + 5)]
    assert alarm_quality(slow, T0, T0 + HOUR).chattering == ()


def test_what_is_there_for_a_day_stands() -> None:
    standing = spell(-3600, None)
    assert alarm_quality(standing, T0, T0 + DAY).standing == ("north/bay-1/a:flow_low",)
    assert alarm_quality(standing, T0, T0 + DAY).raised == 0
    assert alarm_quality(spell(-3600, 3600), T0, T0 + DAY).standing == ()


def test_suppression_and_repeats_are_no_further_raises() -> None:
    facts = spell(0, None)
    muted = replace(facts[0], time=T0 + MINUTE, suppressed=True)
    back = replace(facts[0], time=T0 + 2 * MINUTE)
    assert alarm_quality([back, *facts, muted, *facts], T0, T0 + HOUR).raised == 1


def test_an_empty_stretch_is_refused_and_a_quiet_one_is_zero() -> None:
    quiet = alarm_quality([], T0, T0 + HOUR)
    assert (quiet.raised, quiet.per_hour, quiet.most_in_ten_minutes) == (0, 0.0, 0)
    with pytest.raises(ValueError, match="above 0"):
        alarm_quality([], T0, T0)
