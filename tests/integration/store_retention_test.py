"""Old readings go once a day, as the plant file says; what weld records cover stays."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from brokers_ingest import until
from records_samples import start, stop
from steadybead_api.plant_stores import AROUND_WELD, weld_spans
from steadybead_collector import retention
from steadybead_collector.config import load_plant_file
from steadybead_collector.evidence.keeper import RootKeeper
from steadybead_collector.records.store import open_records
from steadybead_collector.retention import Retention
from steadybead_collector.stores import MemoryReadings, SqliteReadings
from steadybead_domain.errors import PlainError
from steadybead_domain.ports import Span, StoreError
from steadybead_domain.readings import Batch
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND
from store_samples import NOZZLE, OTHER, START, WINDOW, all_of, bits, steady
from whole_process import write_plant

NOW = START + 3 * DAY
ROWS = steady(25_920, START, 10 * SECOND)  # three days


def test_readings_go_when_their_days_are_over_but_not_those_of_a_weld(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path)
    records = open_records("sqlite", tmp_path)
    store.append(Batch(NOW, {NOZZLE: ROWS, OTHER: ROWS}))
    records.add_weld_event(start("w-1", 3_600.0))
    records.add_weld_event(stop("w-1", 5_400.0))
    days = [store.buckets(name, START, NOW, 72) for name in (NOZZLE, OTHER)]
    keeper = Retention(store, lambda now: weld_spans(records, now), 1, lambda: NOW)
    gone = keeper.forget()

    window = ROWS.time // WINDOW * WINDOW
    begin, end = START + HOUR - AROUND_WELD, START + HOUR + 30 * MINUTE + AROUND_WELD
    young = window + WINDOW > NOW - DAY
    covered = (window < end) & (window + WINDOW > begin)
    left = {NOZZLE: ROWS.take(young | covered), OTHER: ROWS.take(young)}
    for name, rows in left.items():
        assert bits(all_of(store, name, START, NOW)) == bits(rows)
    assert len(left[NOZZLE]) - len(left[OTHER]) == 5 * 60  # 08:28 to 09:02: five windows
    assert gone == 2 * len(ROWS) - sum(map(len, left.values()))
    for name, before in zip((NOZZLE, OTHER), days, strict=True):
        after = store.buckets(name, START, NOW, 72)
        for field in ("start", "end", "n", "low", "mean", "high", "quality"):
            np.testing.assert_array_equal(getattr(after, field), getattr(before, field))
    assert keeper.forget() == 0
    store.close()
    records.close()


def test_an_open_weld_covers_all_until_now(tmp_path: Path) -> None:
    records = open_records("sqlite", tmp_path)
    records.add_weld_event(start("w-1", 3_600.0))
    (span,) = weld_spans(records, NOW)
    assert (span.start, span.end) == (START + HOUR - AROUND_WELD, NOW + AROUND_WELD)
    records.close()


class Failing(MemoryReadings):
    """A store whose first retention fails."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[int] = []

    def retain(self, before: int, keep: Sequence[Span]) -> int:
        self.asked.append(before)
        if len(self.asked) == 1:
            raise StoreError("the disk is full")
        return super().retain(before, keep)


def test_a_retention_that_fails_is_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(retention, "_FIRST_AFTER_S", 0.001)
    monkeypatch.setattr(retention, "_EVERY_S", 0.001)
    store = Failing()
    store.append(Batch(NOW, {NOZZLE: ROWS}))
    keeper = Retention(store, lambda _: (), 2, lambda: NOW)
    keeper.start()
    until(lambda: len(store.asked) > 1 and len(all_of(store, NOZZLE, START, NOW)) < len(ROWS))
    keeper.stop(10.0)
    assert set(store.asked) == {NOW - 2 * DAY}


def test_the_plant_file_says_how_many_days_are_kept(tmp_path: Path) -> None:
    path = write_plant(tmp_path, None)
    text = path.read_text("utf-8")
    assert load_plant_file(path).store.keep_days is None
    path.write_text(text + "[store]\nkeep_days = 400\n", "utf-8")
    assert load_plant_file(path).store.keep_days == 400
    for wrong in ("0", "-1", '"a year"', "1.5"):
        path.write_text(text + f"[store]\nkeep_days = {wrong}\n", "utf-8")
        with pytest.raises(PlainError, match="keep_days"):
            load_plant_file(path)


def test_a_daily_root_holds_what_was_not_sealed_by_itself(tmp_path: Path) -> None:
    """Nobody kept house since the last reading of the day."""
    day = START // DAY * DAY
    store = SqliteReadings(tmp_path)
    rows = steady(8_640, day, 10 * SECOND)
    store.append(Batch(day + DAY, {NOZZLE: rows}))
    assert store.leaves(day, day + DAY) == []
    clock = day + DAY + 2 * HOUR
    (root,) = RootKeeper(store, tmp_path, "north", (), lambda: clock).look()
    assert root.leaves == 144
    assert sum(leaf.count for leaf in store.leaves(day, day + DAY)) == len(rows)
    store.close()
