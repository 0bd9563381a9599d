"""Awkward records: each has its outcome, and its file can be made and checked."""

import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdf
import pytest

from api_shop import BAY_1, FLOW, NOZZLE, Shop, make_shop, put
from steadybead_api.evidence import bundle
from steadybead_api.evidence.check import check
from steadybead_api.evidence.export import evidence_file
from steadybead_api.verdict import weld_verdict
from steadybead_domain.people import Actor, Role
from steadybead_domain.readings import Columns, Quality, Reason
from steadybead_domain.times import MINUTE, SECOND, parse_rfc3339
from steadybead_domain.verdict.model import Verdict
from steadybead_domain.welds import WeldEvent, WeldEventKind

CLOCK_CHANGE = parse_rfc3339("2026-10-25T01:00:00Z")  # Lisbon: 02:00 WEST becomes 01:00 WET


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = make_shop(tmp_path)
    opened.clock.now = CLOCK_CHANGE + 60 * MINUTE
    yield opened
    opened.close()


def level(value: float, minutes: int = 14) -> Columns:
    """Make steady readings from seven minutes before the clock changes."""
    n = minutes * 300
    values = np.full(n, value)
    times = CLOCK_CHANGE - 7 * MINUTE + np.arange(n, dtype=np.int64) * (SECOND // 5)
    good = np.zeros(n, np.uint8)
    return Columns(times, values, values, good, good, np.ones(n, np.uint32))


def laid(shop: Shop, weld: str = "w1", stops: int = 1) -> None:
    """Tell a record of ten minutes across the change."""
    place = (weld, BAY_1, "a")
    begin, end = CLOCK_CHANGE - 5 * MINUTE, CLOCK_CHANGE + 5 * MINUTE
    told = ("welder", "test", "pp-speed-nozzle", 1, "4711", "12")
    shop.records.welds.add(WeldEvent(WeldEventKind.START, *place, begin, *told))
    for i in range(stops):
        event = WeldEvent(WeldEventKind.STOP, *place, end + i * MINUTE, "welder", "test")
        shop.records.welds.add(event)


def verdict_and_text(shop: Shop, weld: str = "w1") -> tuple[Verdict, str]:
    found = shop.records.welds.get(weld)
    folder = shop.services.data_dir
    assert found is not None
    assert folder is not None
    data = evidence_file(shop.services, folder, found, None)
    assert check(data).untouched
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    text = " ".join(" ".join(p.extract_text() for p in pages).split())
    return weld_verdict(shop.services, found), text


def whys(verdict: Verdict) -> set[str]:
    return {r.why.value for r in verdict.reasons}


def without(columns: Columns, from_min: float, to_min: float) -> Columns:
    gone = (columns.time >= CLOCK_CHANGE + from_min * MINUTE) & (
        columns.time < CLOCK_CHANGE + to_min * MINUTE
    )
    return columns.take(~gone)


def test_a_clock_change_takes_no_time_and_both_zones_are_printed(shop: Shop) -> None:
    put(shop, NOZZLE, level(320.0))
    put(shop, FLOW, level(54.0))
    laid(shop)
    verdict, text = verdict_and_text(shop)
    assert verdict.conclusion.value == "conforms"
    assert sum(r.end - r.start for r in verdict.runs) == 10 * MINUTE
    assert "2026-10-25 01:55:00 WEST" in text
    assert "2026-10-25 01:05:00 WET" in text


def test_a_record_stopped_twice_ends_at_the_first(shop: Shop) -> None:
    put(shop, NOZZLE, level(320.0))
    put(shop, FLOW, level(54.0))
    laid(shop, stops=2)
    verdict, _ = verdict_and_text(shop)
    assert verdict.conclusion.value == "conforms"
    assert verdict.runs[-1].end == CLOCK_CHANGE + 5 * MINUTE


def test_an_outage_leaves_a_gap_and_nothing_to_tell(shop: Shop) -> None:
    put(shop, NOZZLE, without(level(320.0), -1, 1))
    put(shop, FLOW, without(level(54.0), -1, 1))
    laid(shop)
    verdict, text = verdict_and_text(shop)
    assert verdict.conclusion.value == "cannot tell"
    assert whys(verdict) == {"readings missing"}
    assert "no readings in 1 stretch" in text
    for channel, value in ((NOZZLE, 320.0), (FLOW, 54.0)):  # the station sends its backlog
        whole = level(value)
        put(shop, channel, whole.take(np.isin(whole.time, without(whole, -1, 1).time, invert=True)))
    verdict, _ = verdict_and_text(shop)
    assert verdict.conclusion.value == "conforms"


def test_a_backlog_without_times_of_its_own_supports_nothing(shop: Shop) -> None:
    put(shop, NOZZLE, without(level(320.0), -1, 1))
    put(shop, FLOW, level(54.0))
    late = without(without(level(200.0), -8, -1), 1, 8)
    bad = replace(
        late,
        quality=np.full(len(late), Quality.BAD, np.uint8),
        reason=np.full(len(late), Reason.CLOCK, np.uint8),
    )
    put(shop, NOZZLE, bad)
    laid(shop)
    verdict, text = verdict_and_text(shop)
    assert verdict.conclusion.value == "cannot tell"
    assert whys(verdict) == {"readings uncertain"}
    assert verdict.excursions == ()
    assert "uncertain or bad" in text


def test_a_late_entry_over_another_record_is_told_for_both(shop: Shop) -> None:
    put(shop, NOZZLE, level(320.0))
    put(shop, FLOW, level(54.0))
    laid(shop)
    event = WeldEvent(
        WeldEventKind.LATE,
        "w2",
        BAY_1,
        "a",
        CLOCK_CHANGE,
        "QA",
        "test",
        "pp-speed-nozzle",
        1,
        stop=CLOCK_CHANGE + 6 * MINUTE,
    )
    shop.records.welds.add_late(event, Actor("QA", Role.QUALITY), shop.clock(), "forgotten")
    for weld, other in (("w1", "w2"), ("w2", "w1")):
        verdict, text = verdict_and_text(shop, weld)
        assert verdict.conclusion.value == "cannot tell"
        assert "overlapping record" in whys(verdict)
        assert other in text


def test_a_station_that_left_the_plant_file_still_has_an_answer(shop: Shop) -> None:
    put(shop, NOZZLE, level(320.0))
    laid(shop)
    plant = shop.services.plant()
    bare = replace(plant, stations=plant.stations[1:])
    services = replace(shop.services, plant=lambda: bare)
    found = shop.records.welds.get("w1")
    assert found is not None
    verdict = weld_verdict(services, found)
    assert verdict.conclusion.value == "cannot tell"
    assert whys(verdict) == {"no channel"}
    assert services.data_dir is not None
    assert check(evidence_file(services, services.data_dir, found, None)).untouched


def test_an_id_of_full_length_fits_the_report(shop: Shop) -> None:
    put(shop, NOZZLE, level(320.0))
    put(shop, FLOW, level(54.0))
    laid(shop, "w" * 64)
    assert "w" * 64 in verdict_and_text(shop, "w" * 64)[1].replace(" ", "")


def test_a_record_with_more_readings_than_a_file_can_hold_is_refused(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(shop, NOZZLE, level(320.0))
    laid(shop)
    found = shop.records.welds.get("w1")
    assert found is not None
    assert shop.services.data_dir is not None
    monkeypatch.setattr(bundle, "MOST_READINGS", 3_599)
    with pytest.raises(bundle.TooLongError, match="3,600 readings"):
        evidence_file(shop.services, shop.services.data_dir, found, None)
