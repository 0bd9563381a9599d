"""What the records store promises of cut plans and of results of strips."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import records_postgres
from records_samples import ANNA
from steadybead_collector.records.cuts import KeptPlan
from steadybead_collector.records.revisions import Act, NotKeptError, TakenError
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.calibration.validation import Problem
from steadybead_domain.times import HOUR
from steadybead_domain.verdict.cut_results import CutResult, Outcome
from steadybead_domain.verdict.cutplan import CutPlan, Strand, Strip
from verdict_samples import T0

ACT = Act(ANNA, T0 + HOUR, "test")
STRIP = Strip("W1", Strand.WORST, 1, 235.5, 265.5, 42.25, "nozzle temperature, 2.1 guard bands")
PLAN = CutPlan("w-1", 1000.0, 30.0, (STRIP,), ("control: none",))
KEPT = KeptPlan("cut-1", PLAN, "dispute", "does not conform", ANNA.name, T0 + HOUR)
RESULT = CutResult(
    "r-1", "w-1", "W1", "bend", Outcome.NOT_MET, T0, "test house", ANNA.name, T0 + HOUR, 35.5, "°"
)


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


def test_a_plan_comes_back_as_it_was_and_a_repeat_changes_nothing(records: Records) -> None:
    assert records.cuts.keep_plan(KEPT, ACT) == (KEPT, True)
    assert records.cuts.keep_plan(KEPT, ACT) == (KEPT, False)
    assert records.cuts.plans("w-1") == [KEPT]
    assert records.cuts.plans("w-2") == []
    with pytest.raises(TakenError):
        records.cuts.keep_plan(replace(KEPT, reason="another"), ACT)


def test_results_are_added_and_corrected_beside_the_first(records: Records) -> None:
    assert records.cuts.keep_result(RESULT, ACT, list) == (RESULT, True)
    assert records.cuts.keep_result(RESULT, ACT, list) == (RESULT, False)
    mended = replace(RESULT, outcome=Outcome.MET, revision=2)
    with pytest.raises(TakenError):
        records.cuts.keep_result(replace(mended, revision=3), ACT, list)
    assert records.cuts.keep_result(mended, ACT, list) == (mended, True)
    assert records.cuts.results("w-1") == [RESULT, mended]


def test_a_result_with_mistakes_is_not_kept(records: Records) -> None:
    with pytest.raises(NotKeptError):
        records.cuts.keep_result(RESULT, ACT, lambda: [Problem("strip", "write W1")])
    assert records.cuts.results("w-1") == []


def test_every_step_stands_in_the_audit_trail(records: Records) -> None:
    records.cuts.keep_plan(KEPT, ACT)
    records.cuts.keep_result(RESULT, ACT, list)
    told = [(e.what, e.subject) for e in records.audit.page(10).items]
    assert told == [("cut result", "r-1"), ("cut plan", "cut-1")]


def test_plans_and_results_are_no_news_for_the_collector(records: Records) -> None:
    before, _ = records.changes_since(0)
    records.cuts.keep_plan(KEPT, ACT)
    records.cuts.keep_result(RESULT, ACT, list)
    assert records.changes_since(before) == (before + 2, [])
