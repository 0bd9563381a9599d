"""The alarm state model against its transition table.

States and terms: IEC 62682 / ISA-18.2, from memory.
"""

from dataclasses import replace

import pytest

from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmFact, AlarmState, Priority
from steadybead_domain.alarms.state import (
    LONGEST_SHELF,
    BadActError,
    Condition,
    alarm_state,
    checked_act,
    state_of,
)
from steadybead_domain.ids import StationId
from steadybead_domain.times import HOUR, MINUTE

S = AlarmState
A = ActKind
T0 = 1_777_900_000_000_000


def fact(minute: float, active: bool, **change: object) -> AlarmFact:
    plain = AlarmFact(
        alarm="x",
        fingerprint="n/b/a:heat_low",
        kind="heat_low",
        station=StationId("n", "b"),
        gun="a",
        channel=None,
        time=T0 + round(minute * MINUTE),
        active=active,
        priority=Priority.MEDIUM,
        latching=False,
        what="gun a: too cold",
        value=280.0,
        limit=300.0,
        unit="Cel",
        cause="",
        to_do="",
        for_whom="welder",
    )
    return replace(plain, **change)  # type: ignore[arg-type]


def act(minute: float, kind: ActKind, **change: object) -> AlarmAct:
    plain = AlarmAct("x", kind, T0 + round(minute * MINUTE), "ann", reason="known")
    return replace(plain, **change)  # type: ignore[arg-type]


# (active, latching, acknowledged, acknowledged after return) -> state
TABLE = {
    (True, False, False, False): S.UNACKNOWLEDGED,
    (True, False, True, False): S.ACKNOWLEDGED,
    (False, False, False, False): S.RETURNED,
    (False, False, True, False): S.NORMAL,
    (False, False, True, True): S.NORMAL,
    (True, True, False, False): S.UNACKNOWLEDGED,
    (True, True, True, False): S.ACKNOWLEDGED,
    (False, True, False, False): S.LATCHED_UNACKNOWLEDGED,
    (False, True, True, False): S.LATCHED_ACKNOWLEDGED,
    (False, True, True, True): S.NORMAL,
}


@pytest.mark.parametrize(("signs", "state"), TABLE.items())
def test_each_row_of_the_table(signs: tuple[bool, bool, bool, bool], state: AlarmState) -> None:
    assert state_of(Condition(*signs)) is state


@pytest.mark.parametrize("signs", TABLE)
def test_out_of_service_goes_before_shelved_before_suppressed(
    signs: tuple[bool, bool, bool, bool],
) -> None:
    assert state_of(Condition(*signs, suppressed=True)) is S.SUPPRESSED
    assert state_of(Condition(*signs, suppressed=True, shelved=True)) is S.SHELVED
    both = Condition(*signs, suppressed=True, shelved=True, out_of_service=True)
    assert state_of(both) is S.OUT_OF_SERVICE
    assert state_of(replace(both, merged=True)) is S.NORMAL


UP, DOWN = fact(0, active=True), fact(5, active=False)
LATCHED_UP, LATCHED_DOWN = replace(UP, latching=True), replace(DOWN, latching=True)
STORIES = [
    ([UP], [], S.UNACKNOWLEDGED),
    ([UP], [act(1, A.ACKNOWLEDGE)], S.ACKNOWLEDGED),
    ([UP], [act(1, A.ACKNOWLEDGE), act(2, A.ACKNOWLEDGE)], S.ACKNOWLEDGED),
    ([UP, DOWN], [], S.RETURNED),
    ([UP, DOWN], [act(1, A.ACKNOWLEDGE)], S.NORMAL),
    ([UP, DOWN], [act(6, A.ACKNOWLEDGE)], S.NORMAL),
    ([UP, DOWN, fact(8, active=True)], [act(1, A.ACKNOWLEDGE)], S.UNACKNOWLEDGED),
    ([UP, DOWN, fact(8, active=True)], [act(9, A.ACKNOWLEDGE)], S.ACKNOWLEDGED),
    ([UP, fact(3, active=True, priority=Priority.HIGH)], [act(1, A.ACKNOWLEDGE)], S.UNACKNOWLEDGED),
    ([UP, fact(3, active=True, priority=Priority.LOW)], [act(1, A.ACKNOWLEDGE)], S.ACKNOWLEDGED),
    ([LATCHED_UP, LATCHED_DOWN], [], S.LATCHED_UNACKNOWLEDGED),
    ([LATCHED_UP, LATCHED_DOWN], [act(1, A.ACKNOWLEDGE)], S.LATCHED_ACKNOWLEDGED),
    ([LATCHED_UP, LATCHED_DOWN], [act(1, A.ACKNOWLEDGE), act(6, A.ACKNOWLEDGE)], S.NORMAL),
    ([UP, fact(2, active=True, suppressed=True)], [], S.SUPPRESSED),
    ([UP, fact(2, active=True, suppressed=True), fact(3, active=True)], [], S.UNACKNOWLEDGED),
    ([UP], [act(1, A.SHELVE, until=T0 + HOUR)], S.SHELVED),
    ([UP], [act(1, A.SHELVE, until=T0 + HOUR), act(2, A.UNSHELVE)], S.UNACKNOWLEDGED),
    ([UP], [act(1, A.SHELVE, until=T0 + 9 * MINUTE)], S.UNACKNOWLEDGED),
    ([UP], [act(1, A.TAKE_OUT_OF_SERVICE)], S.OUT_OF_SERVICE),
    ([UP], [act(1, A.TAKE_OUT_OF_SERVICE), act(2, A.RETURN_TO_SERVICE)], S.UNACKNOWLEDGED),
    ([UP, fact(7, active=False, merged_into="y")], [], S.NORMAL),
]


@pytest.mark.parametrize(("facts", "acts", "state"), STORIES)
def test_a_story_ends_in_its_state_however_often_it_is_told(
    facts: list[AlarmFact], acts: list[AlarmAct], state: AlarmState
) -> None:
    now = T0 + 10 * MINUTE
    assert alarm_state(facts, acts, now).state is state
    assert alarm_state(facts[::-1] * 2, acts * 2, now).state is state


def test_a_device_clock_ahead_hides_nothing_and_holds_nothing_up() -> None:
    ahead = fact(5, active=True)
    now = T0
    assert alarm_state([ahead], [], now).state is S.UNACKNOWLEDGED
    early = act(0, A.ACKNOWLEDGE)
    assert alarm_state([ahead], [early], now).state is S.ACKNOWLEDGED


def test_an_acknowledgement_that_names_its_raise_counts_for_that_raise_only() -> None:
    again = [UP, DOWN, fact(8, active=True)]
    stale = act(9, A.ACKNOWLEDGE, of_raise=UP.time)
    assert alarm_state(again, [stale], T0 + 10 * MINUTE).state is S.UNACKNOWLEDGED
    right = act(1, A.ACKNOWLEDGE, of_raise=again[2].time)
    assert alarm_state(again, [right], T0 + 10 * MINUTE).state is S.ACKNOWLEDGED


def test_a_clock_that_goes_back_keeps_the_shelf() -> None:
    shelved = [act(1, A.SHELVE, until=T0 + HOUR)]
    assert alarm_state([UP], shelved, T0 - HOUR).state is S.SHELVED
    assert alarm_state([UP], shelved, T0 + HOUR).state is S.UNACKNOWLEDGED


def test_a_clock_that_goes_back_between_two_acts_leaves_their_order() -> None:
    acts = [act(3, A.SHELVE, until=T0 + HOUR), act(1, A.UNSHELVE)]
    assert alarm_state([UP], acts, T0 + 4 * MINUTE).state is S.UNACKNOWLEDGED
    assert alarm_state([UP], acts[::-1], T0 + 4 * MINUTE).state is S.SHELVED


def test_what_is_over_cannot_be_shelved_or_taken_out_of_service() -> None:
    done = act(6, A.ACKNOWLEDGE)
    for late in (act(7, A.SHELVE, until=T0 + HOUR), act(7, A.TAKE_OUT_OF_SERVICE)):
        assert alarm_state([UP, DOWN], [done, late], T0 + 8 * MINUTE).state is S.NORMAL
        both = [UP, DOWN, fact(7.5, active=True)]
        assert alarm_state(both, [done, late], T0 + 8 * MINUTE).state is not S.NORMAL


def test_a_shelf_without_end_ends_after_the_longest_shelf() -> None:
    forever = [act(0, A.SHELVE, until=T0 + 1000 * LONGEST_SHELF)]
    assert alarm_state([UP], forever, T0 + LONGEST_SHELF - 1).state is S.SHELVED
    assert alarm_state([UP], forever, T0 + LONGEST_SHELF).state is S.UNACKNOWLEDGED


def test_the_alarm_tells_who_and_when() -> None:
    alarm = alarm_state([UP, DOWN], [act(6, A.ACKNOWLEDGE)], T0 + 10 * MINUTE)
    assert (alarm.acknowledged_by, alarm.acknowledged_at) == ("ann", T0 + 6 * MINUTE)
    assert (alarm.cleared, alarm.active, alarm.raised) == (DOWN.time, False, UP)


def test_facts_that_raise_nothing_are_no_alarm() -> None:
    with pytest.raises(ValueError, match="no fact raises"):
        alarm_state([DOWN], [], T0)


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (act(0, A.SHELVE, until=T0 + HOUR, reason=" "), "reason"),
        (act(0, A.SHELVE), "give an end"),
        (act(0, A.SHELVE, until=T0), "lie ahead"),
        (act(0, A.SHELVE, until=T0 + LONGEST_SHELF + 1), "at most 24 h"),
        (act(0, A.TAKE_OUT_OF_SERVICE, reason=""), "reason"),
    ],
)
def test_an_act_that_cannot_be_is_refused_with_the_remedy(bad: AlarmAct, words: str) -> None:
    with pytest.raises(BadActError, match=words):
        checked_act(bad)


def test_what_is_over_is_not_put_away_any_more_but_may_be_acknowledged_again() -> None:
    over = alarm_state([UP, DOWN], [act(6, A.ACKNOWLEDGE)], T0 + 7 * MINUTE)
    with pytest.raises(BadActError, match="over"):
        checked_act(act(7, A.SHELVE, until=T0 + HOUR), over)
    assert checked_act(act(7, A.ACKNOWLEDGE), over)


def test_a_good_act_passes() -> None:
    good = act(0, A.SHELVE, until=T0 + LONGEST_SHELF)
    assert checked_act(good) is good
