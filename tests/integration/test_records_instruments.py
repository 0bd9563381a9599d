"""Instruments, calibrations and checks on disk: never overwritten, nothing bad stored."""

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from calibration_samples import CHANNEL, FITTING, INSTRUMENT, NOW, calibration, check
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act, NotKeptError, TakenError
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.calibration.model import Point
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, HOUR, MINUTE

ACT = Act(Actor("Bench", Role.MAINTENANCE), NOW, "test")
NOZZLE = Channel(CHANNEL, Quantity.NOZZLE_TEMPERATURE, "Cel")
FIRST = FittingRecord("f-1", FITTING)


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    store = open_records("sqlite", tmp_path, lambda: NOW)
    store.instruments.keep(INSTRUMENT, ACT)
    store.instruments.keep_fitting(FIRST, NOZZLE, ACT)
    yield store
    store.close()


def rows(folder: Path, table: str) -> list[Any]:
    connection = sqlite3.connect(folder / "records.db")
    found = connection.execute(f"SELECT seq, id, revision, content FROM {table}").fetchall()  # noqa: S608
    connection.close()
    return found


def test_what_was_kept_is_given_back(records: Records) -> None:
    kept = records.instruments
    item, checked = calibration(), check()
    assert kept.keep_calibration(item, ACT) == (item, True)
    assert kept.keep_check(checked, NOZZLE, ACT) == (checked, True)
    assert kept.all() == [INSTRUMENT]
    assert kept.get("tc-7") == INSTRUMENT
    assert kept.fittings(CHANNEL) == [FIRST]
    assert kept.calibrations("tc-7") == [item]
    assert kept.checks(CHANNEL) == [checked]
    assert kept.checks(CHANNEL, checked.time - 1) == []


def test_a_repeat_changes_nothing(records: Records, tmp_path: Path) -> None:
    kept = records.instruments
    kept.keep_calibration(calibration(), ACT)
    again = calibration(author="somebody else", entered=NOW + MINUTE)
    assert kept.keep_calibration(again, ACT) == (calibration(), False)
    assert len(rows(tmp_path, "calibration")) == 1
    with pytest.raises(TakenError, match=r"other figures: give another id, or revision 2"):
        kept.keep_calibration(calibration(certificate="other"), ACT)
    assert len(rows(tmp_path, "calibration")) == 1


def test_a_correction_is_a_further_revision_and_the_old_one_stays(
    records: Records, tmp_path: Path
) -> None:
    kept = records.instruments
    kept.keep_calibration(calibration(), ACT)
    before = rows(tmp_path, "calibration")
    better = calibration(revision=2, points=(Point(100.0, 100.5), *calibration().points[1:]))
    assert kept.keep_calibration(better, ACT) == (better, True)
    assert kept.calibration_revisions("cal-1") == [calibration(), better]
    assert kept.calibration_page(10).items == [better]
    assert rows(tmp_path, "calibration")[0] == before[0]
    with pytest.raises(TakenError, match="the next revision of calibration cal-1 is 3"):
        kept.keep_calibration(calibration(revision=5), ACT)


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        (
            {"points": (Point(300.0, 303.0), Point(100.0, 101.0), Point(500.0, 502.0))},
            "points[2]",
            "order the points",
        ),
        ({"performed": NOW + DAY, "effective": NOW + DAY}, "performed", "future"),
        ({"instrument": "nobody"}, "instrument", "enter it first"),
        (
            {"performed": NOW - 12 * DAY, "effective": NOW - 12 * DAY, "id": "cal-2"},
            "performed",
            "revise it first",
        ),
    ],
)
def test_a_bad_calibration_is_refused_and_nothing_is_stored(
    records: Records, tmp_path: Path, changed: dict[str, Any], field: str, words: str
) -> None:
    records.instruments.keep_calibration(calibration(id="cal-0", effective=NOW - 13 * DAY), ACT)
    before = {table: rows(tmp_path, table) for table in ("calibration", "instrument")}
    with pytest.raises(NotKeptError) as refused:
        records.instruments.keep_calibration(calibration(**changed), ACT)
    assert any(p.field == field and words in p.text for p in refused.value.problems)
    assert {t: rows(tmp_path, t) for t in before} == before


def test_bad_fittings_are_refused(records: Records, tmp_path: Path) -> None:
    kept = records.instruments
    wrong = [
        (FittingRecord("f-2", replace(FITTING, start=NOW - DAY)), "already carries"),
        (FittingRecord("f-3", replace(FITTING, instrument="none")), "enter it first"),
        (FittingRecord("f-4", replace(FITTING, start=NOW + DAY, end=NOW + 2 * DAY)), "future"),
    ]
    for item, words in wrong:
        with pytest.raises(NotKeptError, match=words):
            kept.keep_fitting(item, NOZZLE, ACT)
    meter = Channel(CHANNEL, Quantity.AIR_FLOW, "L/min")
    with pytest.raises(NotKeptError, match="does not fit here"):
        kept.keep_fitting(FittingRecord("f-5", FITTING), meter, ACT)
    assert len(rows(tmp_path, "fitting")) == 1


def test_a_fitting_ends_by_a_revision_and_can_be_withdrawn(records: Records) -> None:
    kept = records.instruments
    ended = FittingRecord("f-1", replace(FITTING, end=NOW - HOUR), 2)
    kept.keep_fitting(ended, NOZZLE, ACT)
    assert kept.fittings(CHANNEL) == [ended]
    following = FittingRecord("f-2", replace(FITTING, start=NOW - HOUR))
    kept.keep_fitting(following, NOZZLE, ACT)
    kept.keep_fitting(replace(following, revision=2, withdrawn=True), NOZZLE, ACT)
    assert kept.fittings() == [ended]


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"id": "tc-8"}, "serial"),
        ({"id": "tc-8", "serial": " "}, "serial"),
        ({"revision": 2, "unit": "L/min"}, "unit"),
        ({"revision": 2, "unit": "furlong"}, "unit"),
        ({"revision": 2, "tolerance": 0.0}, "tolerance"),
        ({"revision": 2, "interval_days": 0}, "interval_days"),
        ({"revision": 2, "kind": ""}, "kind"),
    ],
)
def test_a_bad_instrument_is_refused(
    records: Records, tmp_path: Path, changed: dict[str, Any], field: str
) -> None:
    with pytest.raises(NotKeptError) as refused:
        records.instruments.keep(replace(INSTRUMENT, **changed), ACT)
    assert [p.field for p in refused.value.problems] == [field]
    assert len(rows(tmp_path, "instrument")) == 1


def test_a_check_entered_twice_is_one(records: Records, tmp_path: Path) -> None:
    kept = records.instruments
    kept.keep_check(check(), NOZZLE, ACT)
    with pytest.raises(NotKeptError, match="on record already"):
        kept.keep_check(check(id="check-2", time=check().time + 5_000_000), NOZZLE, ACT)
    assert len(rows(tmp_path, "reference_check")) == 1


def test_lists_go_on_page_by_page(records: Records) -> None:
    kept = records.instruments
    for i in range(5):
        kept.keep_check(check(id=f"c-{i}", time=NOW - (i + 1) * HOUR), NOZZLE, ACT)
    first = kept.check_page(2, station=CHANNEL.station_id)
    second = kept.check_page(2, first.next, station=CHANNEL.station_id)
    third = kept.check_page(2, second.next, channel=CHANNEL)
    ids = [c.id for page in (first, second, third) for c in page.items]
    assert ids == ["c-0", "c-1", "c-2", "c-3", "c-4"]
    assert third.next is None


def test_each_act_stands_in_the_audit_trail(records: Records) -> None:
    records.instruments.keep_calibration(calibration(), ACT)
    entry = records.audit.page(1).items[0]
    assert (entry.actor, entry.what, entry.subject) == ("Bench", "calibration", "cal-1")
