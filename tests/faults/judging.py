"""Holds what the store has against what the sender's list says."""

import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import orjson

from faults.sending import NAMES, Load, channel
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import SqliteReadings
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import ReadingsStore, StoreError
from steadybead_domain.readings import Columns

ALWAYS = (0, 2**61)
Opening = Callable[[], ReadingsStore]


@dataclass(slots=True)
class Count:
    """`sent`: readings acknowledged. `doubled`: twice in the store, or never sent like this."""

    sent: int = 0
    missing: int = 0
    doubled: int = 0
    lost: set[tuple[str, int]] = field(default_factory=set)

    def add(self, other: "Count") -> None:
        self.lost |= other.lost
        self.sent += other.sent
        self.missing += other.missing
        self.doubled += other.doubled


def sqlite_in(folder: Path) -> Opening:
    """Open the embedded store for reading, while another process may write it."""
    return lambda: SqliteReadings(folder, read_only=True)


@contextmanager
def opened(opening: Opening) -> Iterator[ReadingsStore]:
    store = opening()
    try:
        yield store
    finally:
        store.close()


def rows_of(store: ReadingsStore, name: ChannelId) -> Columns:
    return Columns.concat(store.read(name, *ALWAYS))


def compare(store: ReadingsStore, load: Load, *, exact: bool = True) -> Count:
    """Compare everything.

    Without `exact` a sender may have sent again what it had no answer for, because the broker
    died; a message without a time may then stand twice, since for the broker it was two messages.
    """
    count = Count()
    acknowledged = set(load.packs)
    for station in range(1, load.stations + 1):
        sent = [n for n in range(load.sent) if load.station_of(n) == station]
        for name in NAMES:
            count.add(
                _timed(rows_of(store, channel(station, name)), load, name, sent, acknowledged)
            )
    dials = load.dials
    if dials:
        count.add(_untimed(rows_of(store, channel(1, "gun-a/set")), dials, load, exact=exact))
    return count


def _timed(rows: Columns, load: Load, name: str, sent: list[int], acknowledged: set[int]) -> Count:
    could = {
        moment: (number in acknowledged, load.value(number, at, name))
        for number in sent
        for at, moment in enumerate(load.times(number))
    }
    found = dict(zip(rows.time.tolist(), rows.raw.tolist(), strict=True))
    must = {moment for moment, (known, _) in could.items() if known}
    foreign = sum(could.get(moment, (False, np.nan))[1] != raw for moment, raw in found.items())
    lost = must - found.keys()
    twice = len(rows) - len(found)
    return Count(len(must), len(lost), twice + foreign, {(name, moment) for moment in lost})


def _untimed(rows: Columns, dials: list[int], load: Load, *, exact: bool) -> Count:
    found = Counter(int(value) for value in rows.raw.tolist())
    must = set(dials)
    highest = load.sent // 10
    twice = sum(number - 1 for number in found.values()) if exact else 0
    foreign = sum(not 0 <= value <= highest for value in found)
    return Count(len(must), len(must - found.keys()), twice + foreign)


def in_quarantine(folder: Path) -> set[tuple[str, int]]:
    """Give the readings, by name and time, whose message stands in quarantine with its payload."""
    records = open_records("sqlite", folder)
    found: set[tuple[str, int]] = set()
    after = None
    try:
        while True:
            page = records.refusals.page(500, after)
            for row in page.items:
                if row.refused.payload.startswith(b"["):
                    for item in orjson.loads(row.refused.payload):
                        found.add((item["n"], round(item["t"] * 1e6)))
            if page.next is None:
                return found
            after = page.next
    finally:
        records.close()


def settled(opening: Opening, load: Load, timeout_s: float = 240.0, *, exact: bool = True) -> Count:
    """Compare once nothing is missing, or once the time is over."""
    end = time.monotonic() + timeout_s
    while True:
        with suppress(StoreError), opened(opening) as store:
            count = compare(store, load, exact=exact)
            if not count.missing or time.monotonic() > end:
                return count
        if time.monotonic() > end + timeout_s:
            raise StoreError("the store could not be read after the faults")
        time.sleep(0.3)


def await_fresh(
    opening: Opening, load: Load, first: int, since: float, timeout_s: float = 120.0
) -> float:
    """Wait until each station has a pack from `first` on in the store; give seconds since then.

    What takes longer than `timeout_s` is given as that; the comparison at the end still waits.
    """
    moment = load.time_of(first)
    names = [channel(station, NAMES[0]) for station in range(1, load.stations + 1)]
    while time.monotonic() < since + timeout_s:
        with suppress(StoreError), opened(opening) as store:
            while time.monotonic() < since + timeout_s:
                found = store.latest(names)
                if len(found) == len(names) and all(r.time >= moment for r in found.values()):
                    return time.monotonic() - since
                time.sleep(0.05)
        time.sleep(0.1)
    return timeout_s
