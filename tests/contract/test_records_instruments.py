"""Instruments, calibrations and checks over every database that the records may live in."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import records_postgres
from calibration_samples import CHANNEL, FITTING, INSTRUMENT, NOW, calibration, check
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act, NotKeptError, TakenError
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.calibration.model import Calibration, Fitting
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, HOUR

ACT = Act(Actor("Bench", Role.MAINTENANCE), NOW, "test")
NOZZLE = Channel(CHANNEL, Quantity.NOZZLE_TEMPERATURE, "Cel")


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
    store = open_records(url, tmp_path, lambda: NOW)
    store.instruments.keep(INSTRUMENT, ACT)
    yield store
    store.close()


def test_fittings_are_among_the_changes_a_withdrawn_one_ends_where_it_starts(
    records: Records,
) -> None:
    position, _ = records.changes_since(0)
    records.instruments.keep_fitting(FittingRecord("f-1", FITTING), NOZZLE, ACT)
    position, changes = records.changes_since(position)
    assert [(c.channel, c.start, c.end) for c in changes if isinstance(c, Fitting)] == [
        (CHANNEL, FITTING.start, FITTING.end)
    ]
    gone = FittingRecord("f-1", FITTING, revision=2, withdrawn=True)
    records.instruments.keep_fitting(gone, NOZZLE, ACT)
    _, changes = records.changes_since(position)
    assert [c.end for c in changes if isinstance(c, Fitting)] == [FITTING.start]


def test_revisions_are_kept_and_the_newest_is_listed(records: Records) -> None:
    kept = records.instruments
    kept.keep_fitting(FittingRecord("f-1", FITTING), NOZZLE, ACT)
    first, better = calibration(), calibration(revision=2, certificate="better")
    kept.keep_calibration(first, ACT)
    kept.keep_calibration(better, ACT)
    assert kept.calibrations("tc-7") == [first, better]
    assert kept.calibration_page(10, instrument_id="tc-7").items == [better]
    assert kept.keep_calibration(first, ACT) == (first, False)
    with pytest.raises(TakenError):
        kept.keep_calibration(calibration(certificate="third"), ACT)
    assert [f.id for f in kept.fittings(CHANNEL)] == ["f-1"]


def test_checks_are_found_by_channel_station_and_time(records: Records) -> None:
    kept = records.instruments
    for i in range(3):
        kept.keep_check(check(id=f"c-{i}", time=NOW - (i + 1) * HOUR), NOZZLE, ACT)
    assert [c.id for c in kept.checks(CHANNEL, NOW - 2 * HOUR)] == ["c-2", "c-1"]
    page = kept.check_page(2, station=CHANNEL.station_id)
    rest = kept.check_page(2, page.next, station=CHANNEL.station_id)
    assert [c.id for c in [*page.items, *rest.items]] == ["c-0", "c-1", "c-2"]


def test_two_who_enter_overlapping_calibrations_at_once_cannot_both_be_right(
    records: Records,
) -> None:
    kept = records.instruments
    early = calibration(id="early", performed=NOW - 9 * DAY, effective=NOW - 9 * DAY)
    reaching_back = calibration(id="late", performed=NOW - DAY, effective=NOW - 20 * DAY)

    def enter(item: Calibration) -> bool:
        try:
            return kept.keep_calibration(item, ACT)[1]
        except NotKeptError:
            return False

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(enter, [early, reaching_back])) == [False, True]
    assert len(kept.calibrations()) == 1


def test_one_id_entered_by_two_at_once_is_one_record(records: Records) -> None:
    def enter(_number: int) -> bool:
        return records.instruments.keep_check(check(), NOZZLE, ACT)[1]

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(enter, range(4))) == [False, False, False, True]
    assert len(records.instruments.checks(CHANNEL)) == 1
