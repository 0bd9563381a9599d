"""What the records store keeps of welds and procedures beside their events."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

import records_postgres
from records_samples import ANNA, BAY_1, CHIEF, T0, late, start, stop
from steadybead_collector.records.revisions import NotKeptError, TakenError
from steadybead_collector.records.schema import weld_index
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.records.welds import VerdictNote, WeldSearch
from steadybead_domain.people import Actor, Role
from steadybead_domain.procedures import Procedure
from steadybead_domain.times import SECOND
from steadybead_domain.weld_details import WeldDetails

QUALITY = Actor("Quinn", Role.QUALITY)
NOW = T0 + 7200 * SECOND


@pytest.fixture(scope="module")
def server_url() -> Iterator[str]:
    if (reason := records_postgres.why_not()) is not None:
        pytest.skip(reason)
    with records_postgres.server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def records(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Records]:
    url = "sqlite"
    if request.param == "postgresql":
        url = records_postgres.emptied(request.getfixturevalue("server_url"))
    store = open_records(url, tmp_path)
    yield store
    store.close()


def told(records: Records, weld: str = "w1", at_s: float = 0.0) -> None:
    records.add_weld_event(replace(start(weld, at_s), job="4711", seam="12", welder="Anna"))
    records.add_weld_event(stop(weld, at_s + 60))


def found(records: Records, search: WeldSearch) -> list[str]:
    return [w.id for w in records.welds.page(search, 100).items]


def test_details_come_back_as_they_were_told(records: Records) -> None:
    details = WeldDetails(drawing="T-1 \ud800", seam_length_mm=480.5, beads=3, rod_batch="R-1")
    records.add_weld_event(replace(start("w1"), details=details))
    weld = records.welds.get("w1")
    assert weld is not None
    assert weld.details == replace(details, drawing="T-1 ?")  # no database takes a lone surrogate
    assert records.welds.events("w1")[0].details == weld.details


def test_an_amendment_adds_and_the_events_stay(records: Records) -> None:
    told(records)
    before = records.welds.events("w1")
    item, weld = records.welds.amend("w1", {"job": "4712"}, "typed wrongly", ANNA, NOW, "http")
    assert item is not None
    assert (item.number, item.author, item.reason) == (1, "Anna", "typed wrongly")
    assert (item.before, item.changes) == ({"job": "4711"}, {"job": "4712"})
    assert weld.job == "4712"
    assert records.welds.get("w1") == weld
    assert records.welds.events("w1") == before
    assert records.welds.amend("w1", {"job": "4712"}, "", ANNA, NOW, "http")[0] is None
    with pytest.raises(NotKeptError):
        records.welds.amend("w1", {"job": "4713"}, "", ANNA, NOW, "http")
    assert len(records.welds.amendments("w1")) == 1


def test_a_search_finds_what_stands_now_whatever_the_capitals(records: Records) -> None:
    told(records)
    told(records, "w2", 100)
    records.welds.amend("w2", {"job": "Tank 7", "welder": "Bo"}, "mixed up", CHIEF, NOW, "http")
    assert found(records, WeldSearch(job="4711", seam="12")) == ["w1"]
    assert found(records, WeldSearch(job=" tank  7 ")) == ["w2"]
    assert found(records, WeldSearch(welder="anna")) == ["w1"]
    assert found(records, WeldSearch(seam="12")) == ["w2", "w1"]


def test_a_late_entry_is_kept_once_with_who_and_why(records: Records) -> None:
    records.add_weld_event(start("w1"))
    assert records.welds.add_late(late("w2", -600), ANNA, NOW, "scanner was flat")
    assert not records.welds.add_late(late("w2", -500), ANNA, NOW, "again")
    weld = records.welds.get("w2")
    assert weld is not None
    assert (weld.ended_by, weld.amendments) == ("late entry", 1)
    [item] = records.welds.amendments("w2")
    assert (item.author, item.reason, item.changes) == ("Anna", "scanner was flat", {})
    running = records.welds.open_on(BAY_1, "a")
    assert running is not None
    assert running.id == "w1"


def test_two_persons_sign_and_an_amendment_makes_both_stale(records: Records) -> None:
    told(records)
    mine = records.welds.sign("w1", "welder", ANNA, NOW, "http")
    assert records.welds.sign("w1", "welder", ANNA, NOW + 1, "http") == mine
    with pytest.raises(TakenError):
        records.welds.sign("w1", "supervisor", ANNA, NOW, "http")
    records.welds.sign("w1", "supervisor", QUALITY, NOW, "http")
    records.welds.amend("w1", {"visual": "accepted"}, "", ANNA, NOW, "http")
    weld = records.welds.get("w1")
    assert weld is not None
    assert [s.covers(weld) for s in records.welds.signatures("w1")] == [False, False]
    again = records.welds.sign("w1", "welder", ANNA, NOW + 2, "http")
    assert again.covers(weld)


def test_a_running_record_is_not_signed(records: Records) -> None:
    records.add_weld_event(start("w1"))
    with pytest.raises(TakenError):
        records.welds.sign("w1", "welder", ANNA, NOW, "http")
    with pytest.raises(KeyError):
        records.welds.sign("w9", "welder", ANNA, NOW, "http")


def test_verdicts_are_kept_and_searched_until_the_record_changes(records: Records) -> None:
    told(records)
    cold = {"quantity": "nozzle_temperature", "side": "below"}
    note = VerdictNote("w1", NOW, "cannot tell", 2, {"a": [1, 2.5], "excursions": [cold]})
    assert records.welds.note_verdict(note)
    assert not records.welds.note_verdict(replace(note, time=NOW + 1))
    assert records.welds.newest_verdict("w1") == note
    assert found(records, WeldSearch(verdict="cannot tell", has_excursion=True)) == ["w1"]
    assert found(records, WeldSearch(excursion_kind="c")) == ["w1"]
    assert found(records, WeldSearch(excursion_kind="h")) == []
    assert records.welds.verdict_counts(T0, T0 + SECOND) == {"cannot tell": 1}
    records.welds.amend("w1", {"remarks": "a scratch"}, "", ANNA, NOW, "http")
    assert found(records, WeldSearch(verdict="cannot tell")) == ["w1"]
    later = {"stop": T0 + 90 * SECOND}
    records.welds.amend("w1", later, "stopped late", ANNA, NOW, "http")
    assert found(records, WeldSearch(verdict="")) == ["w1"]
    assert records.welds.newest_verdict("w1") == note  # what was said once stays readable


def test_a_lost_index_is_made_again_when_the_store_is_opened(tmp_path: Path) -> None:
    records = open_records("sqlite", tmp_path)
    told(records)
    records.welds.note_verdict(VerdictNote("w1", NOW, "conforms", 0, {}))
    with records._database.write() as connection:
        connection.execute(sa.delete(weld_index))
    assert found(records, WeldSearch()) == []
    records.close()
    records = open_records("sqlite", tmp_path)
    assert found(records, WeldSearch(job="4711", verdict="conforms")) == ["w1"]
    records.close()


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Records]:
    store = open_records("sqlite", Path(tmp_path_factory.mktemp("amended")))
    yield store
    store.close()


@settings(max_examples=25, deadline=None)
@given(
    said=st.lists(
        st.fixed_dictionaries(
            {},
            optional={
                "job": st.text(max_size=12),
                "seam": st.text(max_size=12),
                "remarks": st.text(max_size=30),
                "seam_length_mm": st.none() | st.floats(1, 1e6),
            },
        ),
        max_size=5,
    )
)
def test_index_and_record_agree_after_any_amendments(
    shared: Records, said: list[dict[str, object]]
) -> None:
    name = f"w{len(found(shared, WeldSearch()))}"
    shared.add_weld_event(replace(start(name, 0), job="4711", seam="12"))
    shared.add_weld_event(stop(name, 60))
    for changes in said:
        shared.welds.amend(name, changes, "why", ANNA, NOW, "http")
    weld = shared.welds.get(name)
    assert weld is not None
    assert weld.amendments == len(shared.welds.amendments(name))
    assert name in found(shared, WeldSearch(job=weld.job or "", seam=weld.seam or ""))


def revised(records: Records, revision: int, **changes: object) -> Procedure:
    known = records.procedures.get("pp-speed-nozzle")
    assert known is not None
    return replace(known.procedure, revision=revision, provenance={}, **changes)  # type: ignore[arg-type]


def test_a_procedure_is_revised_and_never_overwritten(records: Records) -> None:
    item = revised(records, 2, rod="round, 4 mm", reason="thicker sheet")
    kept, is_new = records.procedures.keep(item, QUALITY, NOW, "http")
    assert is_new
    assert kept.procedure.provenance["rod"] == "set by the shop"
    assert records.procedures.keep(item, QUALITY, NOW + 1, "http") == (kept, False)
    with pytest.raises(TakenError):
        records.procedures.keep(replace(item, rod="triangular"), QUALITY, NOW, "http")
    with pytest.raises(TakenError):
        records.procedures.keep(replace(item, revision=9), QUALITY, NOW, "http")
    with pytest.raises(NotKeptError):
        records.procedures.keep(replace(item, revision=3), QUALITY, NOW, "http")
    both = [r.procedure.rod for r in records.procedures.revisions("pp-speed-nozzle")]
    assert both == ["round, 4 mm", "round, 3 mm"]


def test_an_approval_is_of_one_revision_and_given_once(records: Records) -> None:
    first = records.procedures.approve("pp-speed-nozzle", 1, QUALITY, NOW, "http")
    assert first is not None
    assert (first.approved_by, first.approved_at) == ("Quinn", NOW)
    assert records.procedures.approve("pp-speed-nozzle", 1, CHIEF, NOW + 1, "http") == first
    assert records.procedures.approve("pp-speed-nozzle", 7, CHIEF, NOW, "http") is None
    item = revised(records, 2, rod="round, 4 mm", reason="thicker sheet")
    records.procedures.keep(item, QUALITY, NOW, "http")
    newest = records.procedures.get("pp-speed-nozzle")
    assert newest is not None
    assert newest.approved_at is None


def test_an_amendment_with_an_entry_is_kept_once_whatever_came_after_it(records: Records) -> None:
    told(records)
    seen = {"visual": "accepted"}
    acted = NOW - 600 * SECOND
    first, _ = records.welds.amend("w1", seen, "", ANNA, NOW, "http", entry="e-1", acted=acted)
    assert first is not None
    assert (first.entry, first.acted, first.time) == ("e-1", acted, NOW)
    records.welds.amend("w1", {"visual": "rejected"}, "looked again", CHIEF, NOW + 1, "http")
    again, weld = records.welds.amend("w1", seen, "", ANNA, NOW + 2, "http", entry="e-1")
    assert again is None
    assert (weld.details.visual, weld.amendments) == ("rejected", 2)
    assert [a.entry for a in records.welds.amendments("w1")] == ["e-1", None]
    told(records, "w2", 120)
    with pytest.raises(TakenError, match="another weld record"):
        records.welds.amend("w2", seen, "", ANNA, NOW, "http", entry="e-1")
