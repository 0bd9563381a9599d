import json
from itertools import count

from steadybead_domain.alarms.book import MERGE, AlarmBook, worded
from steadybead_domain.alarms.catalogue import CATALOGUE, MAINTENANCE, MANAGER, QA, WELDER
from steadybead_domain.alarms.change import Change
from steadybead_domain.alarms.codec import (
    act_from_json,
    act_to_json,
    alarm_from_json,
    alarm_to_json,
    fact_from_json,
    fact_to_json,
)
from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmState, Priority
from steadybead_domain.ids import StationId
from steadybead_domain.times import HOUR, MINUTE

BAY = StationId("north", "bay-1")
T0 = 1_777_900_000_000_000


def cold(minute: float, active: bool = True, **more: object) -> Change:
    time = T0 + round(minute * MINUTE)
    return Change(time, "heat_low", active, gun="a", value=280.0, limit=300.0, unit="Cel", **more)  # type: ignore[arg-type]


def ack(alarm: str, minute: float) -> AlarmAct:
    return AlarmAct(alarm, ActKind.ACKNOWLEDGE, T0 + round(minute * MINUTE), "ann")


def test_the_same_evidence_gives_the_same_id_and_other_evidence_another() -> None:
    one, two = AlarmBook(BAY), AlarmBook(BAY)
    assert one.apply(cold(0)) == two.apply(cold(0))
    assert (
        AlarmBook(BAY).apply(cold(1))[0].alarm
        != two.current[next(iter(two.current))].facts[0].alarm
    )


def test_repeated_evidence_is_one_alarm() -> None:
    book = AlarmBook(BAY)
    first = book.apply(cold(0))
    assert book.apply(cold(1)) == []
    book.apply(cold(2, active=False))
    again = book.apply(cold(3))
    assert again[0].alarm == first[0].alarm
    assert len(book.open(T0 + 4 * MINUTE)) == 1


def test_clearing_what_was_never_raised_is_nothing() -> None:
    assert AlarmBook(BAY).apply(cold(0, active=False)) == []


def test_a_later_occurrence_takes_over_from_one_nobody_acknowledged() -> None:
    book = AlarmBook(BAY)
    old = book.apply(cold(0))[0]
    book.apply(cold(1, active=False))
    late = 1 + MERGE / MINUTE
    over, new = book.apply(cold(late))
    assert (over.alarm, over.active, over.merged_into) == (old.alarm, False, new.alarm)
    assert [a.raised.alarm for a in book.open(T0 + 12 * MINUTE)] == [new.alarm]


def test_a_later_occurrence_stands_alone_after_a_finished_one() -> None:
    book = AlarmBook(BAY)
    old = book.apply(cold(0))[0]
    book.note(ack(old.alarm, 0.5))
    book.apply(cold(1, active=False))
    (new,) = book.apply(cold(30))
    assert new.alarm != old.alarm


def test_a_shelved_occurrence_goes_on_however_long_it_was_away() -> None:
    book = AlarmBook(BAY)
    old = book.apply(cold(0))[0]
    shelve = AlarmAct(
        old.alarm, ActKind.SHELVE, T0 + MINUTE, "ann", until=T0 + 8 * HOUR, reason="part ordered"
    )
    book.note(shelve)
    book.apply(cold(2, active=False))
    (again,) = book.apply(cold(90))
    assert again.alarm == old.alarm
    (alarm,) = book.open(T0 + 2 * HOUR)
    assert alarm.state is AlarmState.SHELVED


def test_what_is_over_is_forgotten() -> None:
    book = AlarmBook(BAY)
    old = book.apply(cold(0))[0]
    book.note(ack(old.alarm, 0.5))
    book.apply(cold(1, active=False))
    assert book.open(T0 + 2 * MINUTE) == ()
    assert book.current
    book.open(T0 + 20 * MINUTE)
    assert not book.current


def test_memory_stays_small_however_often_a_condition_chatters() -> None:
    book = AlarmBook(BAY)
    for minute in range(300):
        book.apply(cold(minute, active=minute % 2 == 0))
    (occurrence,) = book.current.values()
    assert len(occurrence.facts) <= 6
    old = occurrence.latest.alarm
    book.note(ack(old, 297.5))
    book.apply(cold(300))
    (alarm,) = book.open(T0 + 301 * MINUTE)
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert alarm.raised.time == T0


def test_a_loss_of_air_that_grows_worse_is_the_same_alarm_raised_again() -> None:
    book = AlarmBook(BAY)
    first = Change(T0, "air_stopped_hot", True, gun="a", value=0.2)
    worse = Change(T0 + MINUTE, "air_lost_heat_on", True, gun="a", value=0.2)
    (one,) = book.apply(first)
    (two,) = book.apply(worse)
    assert one.alarm == two.alarm
    assert two.kind == "air_lost_heat_on"


def test_dump_and_load_keep_everything() -> None:
    book = AlarmBook(BAY)
    (one,) = book.apply(cold(0))
    book.note(ack(one.alarm, 1))
    copy = AlarmBook(BAY)
    copy.load(json.loads(json.dumps(book.dump())))
    assert copy.dump() == book.dump()
    assert copy.open(T0 + 2 * MINUTE) == book.open(T0 + 2 * MINUTE)
    assert copy.apply(cold(3, active=False)) == book.apply(cold(3, active=False))


def test_facts_acts_and_alarms_come_back_from_json_unchanged() -> None:
    book = AlarmBook(BAY)
    silent = Change(T0, "channel_silent", True, channel="gun-a/flow", limit=30.0, unit="s")
    for fact in (*book.apply(cold(0)), *book.apply(silent)):
        assert fact_from_json(json.loads(json.dumps(fact_to_json(fact)))) == fact
    act = AlarmAct("x", ActKind.SHELVE, T0, "ann", T0 + HOUR, "why", T0)
    assert act_from_json(json.loads(json.dumps(act_to_json(act)))) == act
    for alarm in book.open(T0 + MINUTE):
        assert alarm_from_json(json.loads(json.dumps(alarm_to_json(alarm)))) == alarm


def test_the_catalogue_tells_everyone_what_to_do() -> None:
    for kind, entry in CATALOGUE.items():
        assert all((entry.to_do, entry.cause, entry.what)), kind
        assert entry.for_whom in {WELDER, MAINTENANCE, MANAGER, QA}, kind
        assert "safe" not in entry.to_do, kind
        filled = worded(entry.what, Change(T0, kind, True, "a", "gun-a/flow", 1.0, 2.0, "Cel"))
        assert "{" not in filled, kind


def test_over_temperature_on_a_fluoropolymer_speaks_of_the_extraction() -> None:
    entry = CATALOGUE["heat_high_fume"]
    assert entry.priority is Priority.HIGH
    assert "extraction" in entry.to_do
    assert entry.family == CATALOGUE["heat_high"].family


def test_families_share_one_place_in_the_book() -> None:
    book = AlarmBook(BAY)
    times = count(T0, MINUTE)
    plain = Change(next(times), "heat_high", True, gun="a", value=400.0)
    fume = Change(next(times), "heat_high_fume", True, gun="a", value=400.0)
    book.apply(plain)
    book.apply(fume)
    assert len(book.current) == 1
