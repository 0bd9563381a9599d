"""The records store tells the same weld records as the kernel's fold of all events."""

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from records_samples import BAY_1, BAY_2, T0, late, start, stop
from steadybead_collector.records.schema import change, weld_event, weld_index
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.ids import StationId
from steadybead_domain.times import SECOND
from steadybead_domain.welds import Weld, WeldEvent, fold

PLACES = [(BAY_1, "a"), (BAY_1, "b"), (BAY_2, "a")]


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Records]:
    store = open_records("sqlite", Path(tmp_path_factory.mktemp("welds")))
    yield store
    store.close()


@st.composite
def told(draw: st.DrawFn) -> list[WeldEvent]:
    """Starts and stops of a few records on a few guns, repeated and out of order."""
    home = dict[str, tuple[StationId, str]]()
    events: list[WeldEvent] = []
    for _ in range(draw(st.integers(0, 14))):
        weld = draw(st.sampled_from(["w1", "w2", "w3", "w4", "w5"]))
        station, gun = home.setdefault(weld, draw(st.sampled_from(PLACES)))
        kind = draw(st.sampled_from([start, start, stop, stop, late]))
        events.append(kind(weld, draw(st.integers(-5, 60)), gun, station))
    return events


def emptied(records: Records) -> None:
    with records._database.write() as connection:
        connection.execute(sa.delete(weld_index))
        connection.execute(sa.delete(weld_event))
        connection.execute(sa.delete(change).where(change.c.kind == "weld"))


def everything(records: Records, search: WeldSearch, limit: int) -> list[Weld]:
    found: list[Weld] = []
    after = None
    while True:
        page = records.welds.page(search, limit, after)
        assert len(page.items) <= limit
        found += page.items
        if page.next is None:
            return found
        after = page.next


@settings(max_examples=40, deadline=None)
@given(events=told(), limit=st.integers(1, 4))
def test_same_records_as_the_fold(records: Records, events: list[WeldEvent], limit: int) -> None:
    emptied(records)
    kept = [event for event in events if records.add_weld_event(event)]
    expected = fold(events)
    assert fold(kept) == expected
    assert {w.id: w for w in everything(records, WeldSearch(), limit)} == expected
    times = [w.start for w in everything(records, WeldSearch(), limit)]
    assert times == sorted(times, reverse=True)
    for weld in expected.values():
        assert records.welds.get(weld.id) == weld
    for station, gun in PLACES:
        running = [
            w for w in expected.values() if (w.station, w.gun) == (station, gun) and w.stop is None
        ]
        assert records.welds.open_on(station, gun) == (running[0] if running else None)
    for is_open in (True, False):
        found = {w.id for w in everything(records, WeldSearch(is_open=is_open), limit)}
        assert found == {w.id for w in expected.values() if (w.stop is None) is is_open}


@settings(max_examples=20, deadline=None)
@given(events=told(), low=st.integers(-5, 60), high=st.integers(-5, 60))
def test_search_finds_what_a_filter_would(
    records: Records, events: list[WeldEvent], low: int, high: int
) -> None:
    emptied(records)
    for event in events:
        records.add_weld_event(event)
    began_from, began_before = T0 + low * SECOND, T0 + high * SECOND
    search = WeldSearch(
        station=BAY_1, gun="a", began_from=began_from, began_before=began_before, id_prefix="w"
    )
    assert {w.id for w in everything(records, search, 2)} == {
        w.id
        for w in fold(events).values()
        if (w.station, w.gun) == (BAY_1, "a") and began_from <= w.start < began_before
    }
