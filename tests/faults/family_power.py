"""Power cuts of the embedded store: what was synced is there, all else may be torn or missing."""

import random
import time
from contextlib import suppress
from pathlib import Path

from faults.disk_log import MARK, Event, Events, LoggedDisk, cut_at
from faults.processes import workshop
from faults.table import Row
from steadybead_collector.stores import SqliteReadings, database
from steadybead_collector.stores.backup import check
from steadybead_collector.stores.database import FILE_NAME
from steadybead_domain.readings import Columns
from store_samples import all_of, bits
from store_writer import CHANNELS, EACH, START, batch_of, columns_of

BATCHES = 120
END = START + 10**13
_SIDES = ("", "-wal")


def recorded(folder: Path) -> tuple[dict[str, bytes], Events]:
    """Append batch after batch with housekeeping; give what there was at first, and the log.

    A mark stands behind each append that was acknowledged.
    """
    SqliteReadings(folder).close()
    start = {FILE_NAME: (folder / FILE_NAME).read_bytes()}
    seen: Events = []
    disk = LoggedDisk(seen)
    pages, database._CHECKPOINT_PAGES = database._CHECKPOINT_PAGES, 60
    try:
        store = SqliteReadings(folder)
        for number in range(BATCHES):
            result = store.append(batch_of(number))
            seen.append(Event(MARK, "", number))
            if number % 3 == 0:
                store.release(result.position - 20)
            for _ in range(3):
                store.maintain()
        store.close()
    finally:
        database._CHECKPOINT_PAGES = pages
        disk.unregister()
    return start, seen


def power_cut(times: int, seed: int) -> list[Row]:
    """Cut the power after a random write, lay out the files, open, compare, write on."""
    draw = random.Random(seed)  # noqa: S311
    row = Row("power-cut", "power cut of the embedded store", times, 0, 0, 0)
    row.note = "torn and missing writes of log and file"
    with workshop() as folder:
        start, events = recorded(folder / "live")
        for number in range(times):
            at = draw.randrange(len(events))
            place = folder / f"cut-{number}"
            place.mkdir()
            for name, content in cut_at(events, start, at, draw).items():
                (place / name).write_bytes(content)
            known = [event.at for event in events[:at] if event.kind == MARK]
            _compare(place, (known[-1] + 1) if known else 0, row)
            for file in place.iterdir():
                file.unlink()
    return [row]


def _compare(folder: Path, batches: int, row: Row) -> None:
    """Open what is left; all acknowledged batches must be there, at most one more besides."""
    row.sent += batches * EACH * len(CHANNELS)
    try:
        _look(folder, batches, row)
    except Exception:  # noqa: BLE001 - whatever hinders it: nothing can be read
        row.missing += max(1, batches * EACH * len(CHANNELS))


def _look(folder: Path, batches: int, row: Row) -> None:
    began = time.monotonic()
    store = SqliteReadings(folder)
    try:
        found = [_rows(store, i) for i in range(len(CHANNELS))]
        row.recovery_s.append(time.monotonic() - began)
        for i, rows in enumerate(found):
            row.missing += max(0, batches * EACH - len(rows))
            row.doubled += max(0, len(rows) - (batches + 1) * EACH)
            row.doubled += bits(rows) != bits(columns_of(i, 0, len(rows)))
        following = len(found[0]) // EACH
        if following < BATCHES:
            again = store.append(batch_of(following))
            row.missing += EACH * len(CHANNELS) - len(again.accepted)
    finally:
        store.close()
    check(folder / FILE_NAME)


def _rows(store: SqliteReadings, channel: int) -> Columns:
    with suppress(IndexError):
        return all_of(store, CHANNELS[channel], START, END)
    return columns_of(channel, 0, 0)
