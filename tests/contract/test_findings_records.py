"""What the records store promises of findings and of work on filters."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import records_postgres
from calibration_samples import CHANNEL, check
from maintenance_samples import BAY_1, T0, drift_finding, filter_change, filter_finding
from records_samples import ANNA
from steadybead_collector.records.revisions import Act, NotKeptError, TakenError
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.diagnosis.standing import finding_id
from steadybead_domain.ids import StationId
from steadybead_domain.maintenance import FilterWork
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, HOUR, SECOND

ACT = Act(ANNA, T0 + HOUR, "test")


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
    store = open_records(url, tmp_path, lambda: T0)
    yield store
    store.close()


def test_a_finding_keeps_all_that_it_said(records: Records) -> None:
    found = [drift_finding(), filter_finding()]
    records.add_findings(found)
    assert [t.finding for t in records.findings.page(10).items] == found[::-1]
    told = records.findings.get(finding_id(found[0]))
    assert told is not None
    assert (told.finding, told.superseded) == (found[0], None)
    assert records.findings.get("fd-none") is None


def test_a_repeat_is_no_second_finding(records: Records) -> None:
    records.add_findings([drift_finding(), drift_finding()])
    records.add_findings([drift_finding()])
    assert len(records.findings.page(10).items) == 1


def test_told_again_with_newer_numbers_it_is_still_one(records: Records) -> None:
    grown = replace(drift_finding(7200), value=-8.0)
    records.add_findings([drift_finding(), grown])
    (told,) = records.findings.page(10).items
    assert (told.finding.value, told.superseded) == (-8.0, None)


def test_a_newer_one_about_the_same_takes_its_place(records: Records) -> None:
    first, second = filter_finding(), filter_finding("filter_due", 3600)
    elsewhere = filter_finding(station=StationId("north", "bay-2"))
    records.add_findings([first, elsewhere, second])
    page = records.findings.page(10, station=BAY_1)
    assert [(t.finding.kind, t.superseded) for t in page.items] == [
        ("filter_due", None),
        ("filter_forecast", second.time),
    ]
    newest = records.findings.page(10, only_newest=True).items
    assert [t.finding for t in newest] == [second, elsewhere]


def test_findings_are_paged_in_order(records: Records) -> None:
    records.add_findings([filter_finding(at_s=n // 2) for n in range(12)])
    records.add_findings([drift_finding(n, since_s=n) for n in range(6)])
    seen, after = [], None
    while True:
        page = records.findings.page(5, after)
        seen += page.items
        if (after := page.next) is None:
            break
    assert len(seen) == len({t.id for t in seen}) == 12
    times = [t.finding.time for t in seen]
    assert times == sorted(times, reverse=True)


def test_what_is_no_number_is_left_out(records: Records) -> None:
    odd = replace(drift_finding(), threshold=float("inf"), evidence=(("x", float("nan")),))
    records.add_findings([odd])
    (told,) = records.findings.page(1).items
    assert (told.finding.threshold, told.finding.evidence) == (None, (("x", None),))


def test_what_was_told_of_a_filter_is_listed_in_order(records: Records) -> None:
    told = [filter_finding(at_s=HOUR * n / SECOND, drop_pa=100.0 + n) for n in range(5)]
    records.add_findings([drift_finding(), *told])
    found = records.findings.of_kinds(BAY_1, "filter_", told[1].time, 3)
    assert [f.value for f in found] == [102.0, 103.0, 104.0]


def test_filter_changes_are_kept_once_and_never_rewritten(records: Records) -> None:
    item = filter_change()
    assert records.filter_changes.keep(item, ACT) == (item, True)
    again = replace(item, author="Bert", entered=item.entered + 5)
    assert records.filter_changes.keep(again, ACT) == (item, False)
    with pytest.raises(TakenError, match="give another id"):
        records.filter_changes.keep(replace(item, note="another"), ACT)
    assert records.filter_changes.get("fc-1") == item
    assert records.filter_changes.all() == [item]
    entry = records.audit.page(1).items[0]
    assert (entry.actor, entry.what, entry.subject) == ("Anna", "filter change", "fc-1")


def test_a_filter_change_with_mistakes_is_not_kept(records: Records) -> None:
    for bad in (
        replace(filter_change(), time=ACT.now + DAY),
        replace(filter_change(), time=0),
        replace(filter_change(), note="x" * 201),
    ):
        with pytest.raises(NotKeptError):
            records.filter_changes.keep(bad, ACT)
    assert records.filter_changes.page(10).items == []


def test_work_on_filters_and_checks_reach_the_collector_in_order(records: Records) -> None:
    position, _ = records.changes_since(0)
    looked = filter_change("fc-2", 60, FilterWork.INSPECTED)
    nozzle = Channel(CHANNEL, Quantity.NOZZLE_TEMPERATURE, "Cel")
    held = check()
    records.filter_changes.keep(filter_change(), ACT)
    records.instruments.keep_check(held, nozzle, Act(ANNA, held.time + HOUR, "test"))
    records.filter_changes.keep(looked, ACT)
    reached, found = records.changes_since(position)
    assert found == [filter_change(), held, looked]
    assert records.changes_since(reached) == (reached, [])
