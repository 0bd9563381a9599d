"""What the collector is promised by the records store."""

import hashlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

import records_postgres
from records_samples import (
    ANNA,
    BAY_1,
    BAY_2,
    CHIEF,
    PLANT,
    T0,
    act,
    fact,
    receipt,
    refusal,
    start,
    stop,
)
from steadybead_collector.records.alarms import _known
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.alarms.model import AlarmAct
from steadybead_domain.ports import FactsStore
from steadybead_domain.procedures import Procedure
from steadybead_domain.times import SECOND
from steadybead_domain.welds import WeldEvent


@pytest.fixture(scope="module")
def server_url() -> Iterator[str]:
    if (reason := records_postgres.why_not()) is not None:
        pytest.skip(reason)
    with records_postgres.server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    if request.param == "sqlite":
        return "sqlite"
    return records_postgres.emptied(request.getfixturevalue("server_url"))


@pytest.fixture
def records(url: str, tmp_path: Path) -> Iterator[Records]:
    store = open_records(url, tmp_path, lambda: T0)
    yield store
    store.close()


def no_state(store: FactsStore) -> bool:
    return store.load_state(BAY_1) is None


def test_it_is_a_facts_store(records: Records) -> None:
    assert no_state(records)


def test_first_receipt_answers_for_a_redelivery_after_reopening(
    records: Records, url: str, tmp_path: Path
) -> None:
    first = receipt(7, b"21.5", 0)
    assert records.receipts([first]) == [first]
    records.close()
    again = open_records(url, tmp_path)
    assert again.receipts([receipt(7, b"21.5", 3600), receipt(7, b"21.6", 3600)]) == [
        first,
        receipt(7, b"21.6", 3600),
    ]
    again.close()


def test_fresh_receipt_replaces_what_is_known(records: Records) -> None:
    records.receipts([receipt(7, b"21.5", 0)])
    late = receipt(7, b"21.5", 500, fresh=True)
    assert [r.time for r in records.receipts([late])] == [late.time]
    assert [r.time for r in records.receipts([receipt(7, b"21.5", 600)])] == [late.time]


def test_receipts_are_answered_in_order_also_within_one_call(records: Records) -> None:
    wanted = [receipt(2, b"b", 1), receipt(1, b"a", 2), receipt(2, b"b", 3)]
    assert [r.time - T0 for r in records.receipts(wanted)] == [SECOND, 2 * SECOND, SECOND]


def test_same_refusal_is_one_row_that_counts(records: Records) -> None:
    records.quarantine([refusal(b"x", 0), refusal(b"x", 5), refusal(b"y", 1)])
    records.quarantine([refusal(b"x", 9), refusal(b"x", 2, outcome="time")])
    rows = records.refusals.page(10).items
    counted = {(r.refused.payload, r.refused.outcome): (r.count, r.last_received) for r in rows}
    assert counted == {
        (b"x", "unit"): (3, T0 + 9 * SECOND),
        (b"y", "unit"): (1, T0 + SECOND),
        (b"x", "time"): (1, T0 + 2 * SECOND),
    }
    assert {r.refused.received for r in rows if r.count == 3} == {T0}


def test_refused_payload_is_capped_and_its_hash_is_of_the_whole(records: Records) -> None:
    whole = b"z" * 5_000_000
    records.quarantine([refusal(whole)])
    kept = records.refusals.page(1).items[0].refused
    assert len(kept.payload) == 4096
    assert kept.payload_sha256 == hashlib.sha256(whole).digest()


def test_text_that_no_database_takes_is_kept_readable(records: Records) -> None:
    records.quarantine([replace(refusal(b"x"), topic="a\0b\ud800", detail="\udcff")])
    kept = records.refusals.page(1).items[0].refused
    assert (kept.topic, kept.detail) == ("a\N{REPLACEMENT CHARACTER}b?", "?")


def test_plant_version_grows_only_with_another_text(records: Records) -> None:
    one = records.accept_plant("one", PLANT, T0)
    same = records.accept_plant("one", PLANT, T0 + SECOND)
    two = records.accept_plant("two", PLANT, T0 + SECOND)
    back = records.accept_plant("one", PLANT, T0 + 2 * SECOND)
    assert [p.version for p in (one, same, two, back)] == [1, 1, 2, 3]
    assert one.sha256 == hashlib.sha256(b"one").hexdigest()
    assert [(v.version, v.text) for v in records.plants.versions()] == [
        (3, "one"),
        (2, "two"),
        (1, "one"),
    ]


def test_repeated_weld_event_is_no_news(records: Records) -> None:
    assert records.add_weld_event(start("w1"))
    assert not records.add_weld_event(start("w1", 5))
    assert records.add_weld_event(stop("w1", 60))
    assert not records.add_weld_event(stop("w1", 90))
    weld = records.welds.get("w1")
    assert weld is not None
    assert (weld.start, weld.stop) == (T0, T0 + 60 * SECOND)


def test_stop_of_a_record_that_is_not_there_or_elsewhere_is_refused(records: Records) -> None:
    assert not records.add_weld_event(stop("w1", 1))
    assert records.add_weld_event(start("w1", 2))
    assert not records.add_weld_event(stop("w1", 3, gun="b"))
    assert not records.add_weld_event(stop("w1", 3, station=BAY_2))
    assert records.add_weld_event(stop("w1", 4))


def test_alarm_facts_are_idempotent(records: Records) -> None:
    records.add_alarm_facts([fact("x", 0, active=True)])
    records.add_alarm_facts([fact("x", 0, active=True), fact("x", 9, active=False)])
    found = records.alarms.get("x")
    assert found is not None
    assert [(f.time, f.active) for f in found.facts] == [(T0, True), (T0 + 9 * SECOND, False)]


def test_changes_come_in_order_and_once(records: Records) -> None:
    position, seeded = records.changes_since(0)
    assert seeded
    assert all(isinstance(c, Procedure) for c in seeded)
    records.add_alarm_facts([fact("x", 0, active=True)])
    records.add_weld_event(start("w1"))
    records.alarms.act(act("x", 1), CHIEF, "http")
    item = records.procedures.newest()[0].procedure
    records.procedures.add(replace(item, title="new"), CHIEF, T0, "http")
    records.add_weld_event(stop("w1", 9))
    position, changes = records.changes_since(position)
    assert [type(c) for c in changes] == [WeldEvent, AlarmAct, Procedure, WeldEvent]
    assert changes[0] == start("w1")
    assert changes[1] == act("x", 1)
    assert records.changes_since(position) == (position, [])


def test_long_history_of_changes_comes_in_pages(records: Records) -> None:
    for number in range(7):
        records.add_weld_event(start(f"w{number}"))
    position, found = 0, 0
    while True:
        position, changes = records.changes_since(position, 3)
        if not changes:
            break
        assert len(changes) <= 3
        found += len(changes)
    assert found == 7 + len(records.procedures.newest())


def test_newest_diagnosis_state_of_each_station_is_kept(records: Records) -> None:
    records.save_states(5, {BAY_1: b"five"})
    records.save_states(6, {BAY_2: b"six"})
    assert records.load_state(BAY_1) == (5, b"five")
    assert records.load_state(BAY_2) == (6, b"six")
    records.save_states(9, {BAY_1: b"nine", BAY_2: b"new"})
    assert records.load_state(BAY_1) == (9, b"nine")
    assert records.load_state(BAY_2) == (9, b"new")


def test_revision_is_added_and_the_old_one_stays(records: Records) -> None:
    before = records.procedures.get("pp-speed-nozzle")
    assert before is not None
    changed = replace(before.procedure, title="changed", revision=99)
    after = records.procedures.add(changed, CHIEF, T0 + SECOND, "http")
    assert (after.procedure.revision, after.author) == (2, "Chief")
    assert records.procedures.get("pp-speed-nozzle", 1) == before
    assert records.procedures.get("pp-speed-nozzle") == after
    assert [r.procedure.revision for r in records.procedures.revisions("pp-speed-nozzle")] == [2, 1]


def test_an_alarm_that_chatters_for_days_costs_a_list_no_more(records: Records) -> None:
    told = [fact("x", n, active=n % 2 == 0) for n in range(1001)]
    for at in range(0, len(told), 100):
        records.add_alarm_facts(told[at : at + 100])
    (listed,) = records.alarms.page(5).items
    assert listed.facts == (told[0], *told[-2:])
    whole = records.alarms.get("x")
    assert whole is not None
    assert whole.facts == tuple(told)
    with records._database.read() as connection:
        assert _known(connection, told[:1]) == {("x", T0, True)}


def test_act_on_an_unknown_alarm_is_refused(records: Records) -> None:
    assert not records.alarms.act(act("nothing", 0), CHIEF, "http")
    assert records.audit.page(10).items == []


def test_every_act_stands_in_the_audit_trail(records: Records) -> None:
    records.welds.add(replace(start("w1"), via="http"), ANNA)
    records.add_alarm_facts([fact("x", 0, active=True)])
    records.alarms.act(act("x", 1), CHIEF, "http")
    trail = records.audit.page(10).items
    assert [(e.actor, e.what, e.subject) for e in trail] == [
        ("Chief", "alarm acknowledge", "x"),
        ("Anna", "weld start", "w1"),
    ]


def test_second_opening_finds_the_same_and_a_writer_of_each_is_ordered(
    records: Records, url: str, tmp_path: Path
) -> None:
    other = open_records(url, tmp_path)
    position, _ = records.changes_since(0)
    for number in range(5):
        assert records.add_weld_event(start(f"a{number}"))
        assert other.add_weld_event(start(f"b{number}", gun="b"))
        position, changes = records.changes_since(position)
        assert [c.weld for c in changes if isinstance(c, WeldEvent)] == [
            f"a{number}",
            f"b{number}",
        ]
    other.close()


def test_writers_in_many_threads_leave_no_hole_for_a_reader(records: Records) -> None:
    position, _ = records.changes_since(0)

    def write(gun: str) -> None:
        for number in range(12):
            assert records.add_weld_event(start(f"{gun}-{number}", number, gun))

    seen: list[str] = []
    with ThreadPoolExecutor(4) as pool:
        jobs = [pool.submit(write, gun) for gun in "abcd"]
        while len(seen) < 48 and not any(j.done() and j.exception() for j in jobs):
            after, changes = records.changes_since(position)
            assert after - position == len(changes)
            position = after
            seen += [c.weld for c in changes if isinstance(c, WeldEvent)]
    assert len(set(seen)) == len(seen) == 48


def test_people_and_lists_work_alike(records: Records) -> None:
    token = records.access.create_token(ANNA, CHIEF, T0, "test")
    session = records.access.log_in(token, T0, "test")
    assert session is not None
    assert records.access.token_actor(token) == ANNA
    assert records.access.session_actor(session, T0) == ANNA
    assert records.access.log_out(session, T0, "test")
    assert records.access.session_actor(session, T0) is None
    assert records.access.revoke_token(records.access.tokens()[0].id, CHIEF, T0, "test")
    assert records.access.token_actor(token) is None
    records.add_weld_event(start("w1"))
    search = WeldSearch(is_open=True, station=BAY_1, id_prefix="w")
    assert [w.id for w in records.welds.page(search, 5).items] == ["w1"]
    records.add_alarm_facts([fact("x", 0, active=True)])
    assert len(records.alarms.page(5, unsettled_at=T0).items) == 1
    assert records.alarms.facts(5).items == [fact("x", 0, active=True)]
    records.check()


def test_words_that_a_station_sends_are_kept_whatever_they_are(records: Records) -> None:
    odd = replace(start("w1"), procedure="p" * 200, job="a\0b", seam="\ud800", welder="é" * 200)
    assert records.add_weld_event(odd)
    kept = records.welds.get("w1")
    assert kept is not None
    assert (kept.procedure, kept.welder) == (odd.procedure, odd.welder)
    assert (kept.job, kept.seam) == ("a\N{REPLACEMENT CHARACTER}b", "?")
