"""The short form of the fault harness, and that it sees what is lost."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from brokers_ingest import needs_mosquitto
from faults import disks, family_api, family_disk, family_kills, family_power, run
from faults.family_devices import devices
from faults.judging import compare
from faults.nursery import NURSERY
from faults.sending import NAMES, TIMES_A_PACK, Load, channel
from faults.table import BEGINS, ENDS, Row, from_json, put_into, table
from steadybead_collector.stores import MemoryReadings, database
from steadybead_domain.readings import Batch, Columns

PACKS = 20


@pytest.fixture(scope="module", autouse=True)
def _nursery() -> Iterator[None]:
    yield
    NURSERY.stop()


class Sent(Load):
    """A load that has been sent, without a broker."""

    def __init__(self) -> None:
        self.base_us, self.packs_s, self.stations = 1_777_879_800_000_000, 40.0, 2
        self.sent = PACKS

    @property
    def packs(self) -> list[int]:
        return list(range(PACKS))

    @property
    def dials(self) -> list[int]:
        return []


def stored(load: Load, packs: range, shift: float = 0.0) -> MemoryReadings:
    """Give a store that has these packs, their values shifted."""
    store = MemoryReadings()
    for number in packs:
        times = np.array(load.times(number), np.int64)
        columns = {}
        for name in NAMES:
            raw = np.array([load.value(number, i, name) for i in range(TIMES_A_PACK)]) + shift
            flags = np.zeros(TIMES_A_PACK, np.uint8)
            plant = np.ones(TIMES_A_PACK, np.uint32)
            columns[channel(load.station_of(number), name)] = Columns(
                times, raw, raw, flags, flags, plant
            )
        store.append(Batch(load.base_us, columns))
    return store


def test_what_is_missing_and_what_nobody_sent_is_counted() -> None:
    load = Sent()
    whole = compare(stored(load, range(PACKS)), load)
    assert (whole.sent, whole.missing, whole.doubled) == (PACKS * 10, 0, 0)
    short = compare(stored(load, range(PACKS - 3)), load)
    assert (short.missing, short.doubled) == (30, 0)
    more = compare(stored(load, range(PACKS + 2)), load)
    assert (more.missing, more.doubled) == (0, 20)
    other = compare(stored(load, range(PACKS), shift=0.5), load)
    assert (other.missing, other.doubled) == (0, PACKS * 10)


def test_a_store_that_does_not_sync_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    synced = database.Database._open_writer

    def unsynced(self: database.Database) -> None:
        synced(self)
        with self.writing() as connection:
            connection.pragma("synchronous", "OFF")

    monkeypatch.setattr(database.Database, "_open_writer", unsynced)
    assert family_power.power_cut(30, 1)[0].missing > 0


def test_the_table_stands_between_its_marks(tmp_path: Path) -> None:
    ours = Row("a", "a fault", 2, 1234, 0, 1, [0.5, 2.0], note="how")
    theirs = Row("b", "another", 1, 10, 3, 0, ours=False)
    readme = tmp_path / "README.md"
    readme.write_text(f"before\n{BEGINS}\nold\n{ENDS}\nafter\n")
    assert put_into(readme, table([ours, theirs]))
    text = readme.read_text()
    assert "| a fault (how) | 2 | 1,234 | 0 | **1** | 1.2 s | 2.0 s |" in text
    assert "old" not in text
    assert text.startswith("before")
    assert text.endswith("after\n")
    assert from_json([ours.as_json()]) == [ours]


def test_a_run_keeps_the_rows_of_other_families(tmp_path: Path) -> None:
    place = tmp_path / "results.json"
    old = Row("soak", "hours", 1, 10, 0, 0, commit="a1")
    run.add(place, [old, Row("kill-api", "API", 2, 10, 0, 0)])
    again = Row("kill-api", "API", 50, 99, 0, 0, commit="b2")
    run.add(place, [again])
    assert run.kept(place) == [again, old]


FAMILIES: list[tuple[Callable[[int, int], list[Row]], int]] = [
    (family_power.power_cut, 20),
    (family_kills.kill_all, 2),
]
FOREIGN: list[tuple[Callable[[int, int], list[Row]], int]] = [
    (family_kills.kill_collector, 2),
    (family_api.kill_api, 1),
    (devices, 1),
]


def _clean(rows: list[Row]) -> None:
    assert rows
    for row in rows:
        assert (row.missing, row.doubled) == (0, 0), row.line()
        assert row.sent > 0


@pytest.mark.timeout(300)
@pytest.mark.parametrize(("family", "times"), FAMILIES, ids=lambda x: getattr(x, "__name__", ""))
def test_nothing_is_missing_and_nothing_double(
    family: Callable[[int, int], list[Row]], times: int
) -> None:
    _clean(family(times, 11))


@pytest.mark.timeout(300)
@pytest.mark.mosquitto
@needs_mosquitto
@pytest.mark.parametrize(("family", "times"), FOREIGN, ids=lambda x: getattr(x, "__name__", ""))
def test_nothing_is_missing_and_nothing_double_with_mosquitto(
    family: Callable[[int, int], list[Row]], times: int
) -> None:
    _clean(family(times, 11))


@pytest.mark.timeout(300)
@pytest.mark.skipif(disks.why_not() is not None, reason=f"no disk of our own: {disks.why_not()}")
def test_the_embedded_broker_goes_on_after_a_full_disk() -> None:
    _clean(family_disk.disk_full_embedded(1, 11))
