"""The demo follows the entries of work on filters, and nothing else follows them."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from brokers_ingest import until
from steadybead_api.demo_filters import FilterNews
from steadybead_collector.records.revisions import Act
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.ids import StationId
from steadybead_domain.maintenance import FilterChange, FilterWork
from steadybead_domain.people import Actor, Role
from steadybead_domain.times import HOUR, parse_rfc3339

T0 = parse_rfc3339("2026-07-01T10:00:00Z")
ANA = Actor("Ana Reis", Role.MAINTENANCE)
BAY_2 = StationId("north", "bay-2")


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    opened = open_records("sqlite", tmp_path)
    yield opened
    opened.close()


def enter(records: Records, name: str, kind: FilterWork) -> None:
    """Enter work that is dated an hour back."""
    change = FilterChange(BAY_2, T0 - HOUR, kind, name, ANA.name, T0, "")
    records.filter_changes.keep(change, Act(ANA, T0, "test"))


def test_entries_since_the_start_are_told_once_with_what_left_the_filter(records: Records) -> None:
    enter(records, "before", FilterWork.CHANGED)
    told: list[tuple[str, int, float]] = []
    news = FilterNews(records, lambda *what: told.append(what), lambda: T0)
    news.look()
    assert told == []
    enter(records, "seen", FilterWork.INSPECTED)
    enter(records, "knocked", FilterWork.TAPPED_OUT)
    enter(records, "new", FilterWork.CHANGED)
    news.look()
    news.look()
    assert told == [("bay-2", T0, 60.0), ("bay-2", T0, 100.0)]


def test_it_looks_by_itself_until_it_is_stopped(records: Records) -> None:
    told: list[tuple[str, int, float]] = []
    news = FilterNews(records, lambda *what: told.append(what), lambda: T0)
    news.start()
    enter(records, "new", FilterWork.CHANGED)
    until(lambda: told == [("bay-2", T0, 100.0)], 10.0)
    news.stop()
    news.stop()
