"""What the embedded readings store costs, beside the plain thing in the same run.

Every figure with a goal is a ratio, a size or a time for which a largest value was set; `met` says
whether it was kept. Times of the machine's disk and of numpy are measured in the same run.
"""

import gc
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import apsw
import numpy as np

from bench.store_support import (
    START,
    Figure,
    alternately,
    batches_of,
    figure,
    housekeeping,
    resident_mb,
    scratch,
    settle,
    timed,
    used_bytes,
    written_bytes,
)
from steadybead_collector.stores import SqliteReadings, journal_codec
from steadybead_collector.stores.flat import flatten
from steadybead_domain.readings import Batch, Columns, Float64, Int64, Joined
from steadybead_domain.times import DAY, MINUTE, SECOND


def main(short: bool) -> list[Figure]:
    """Run all; `short` only shows that everything works, its figures mean nothing."""
    return list(figures(short))


def figures(short: bool) -> Iterator[Figure]:
    """Give the figures part by part, as they come."""
    parts: list[Callable[[Path, bool], list[Figure]]] = [
        month,
        ingest,
        size,
        trace,
        season,
        newest,
        stall,
        writes,
    ]
    for part in parts:
        with scratch() as folder:
            found = part(folder, short)
        gc.collect()
        yield from ([line | {"goal": None, "met": None} for line in found] if short else found)


def ingest(folder: Path, short: bool) -> list[Figure]:
    """Append batches of 1,000, in turn with bare inserts of the very same bytes.

    First a burst whose windows are not over, so that only the journal works (and the WAL is
    carried over); then hours of data at once, which housekeeping packs beside.
    """
    found = []
    count = 60 if short else 600
    for channels, each in ((8, 125), (40, 25), (400, 3)):
        n = channels * each
        what = f"batches of {n} of {channels} channels"
        apart = list(batches_of(channels, each, count, step=500_000 // each // 2))
        burst = [Batch(batch.received, Joined.of(batch.columns)) for batch in apart]
        ours_s, bare_s = beside_bare_inserts(folder / f"burst {channels}", burst)
        found += [
            figure(f"store: durable {what}", n / ours_s, "1/s"),
            figure(f"store: bare journal inserts of the same {n} readings", n / bare_s, "1/s"),
            figure(f"store: time over a bare insert, {what}", ours_s / bare_s, "", goal=2.0),
        ]
    ours_s, bare_s = beside_bare_inserts(folder / "apart", apart)
    found.append(
        figure(f"store: the same, {channels} arrays still to be joined", ours_s / bare_s, "")
    )
    hours = list(batches_of(40, 25, count))
    ours_s, bare_s = beside_bare_inserts(folder / "hours", hours)
    return [
        *found,
        figure(
            "store: time over a bare insert, hours at once, packing beside", ours_s / bare_s, ""
        ),
    ]


def beside_bare_inserts(folder: Path, batches: list[Batch]) -> tuple[float, float]:
    """Give the median seconds of an append and of a bare insert, housekeeping beside."""
    blobs = []
    for batch in batches:
        flat = flatten(batch)
        ids = np.arange(len(flat.names), dtype=np.int64)
        blobs.append(journal_codec.encode(ids, flat.starts, flat.rows))
    store = SqliteReadings(folder)
    bare = bare_journal(folder / "bare.sqlite")
    insert = "INSERT INTO journal VALUES (?, ?, ?, ?)"
    pairs = []
    with housekeeping(store, 0.02):
        for i, (batch, blob) in enumerate(zip(batches, blobs, strict=True)):
            ours_s = timed(lambda: store.append(batch))  # noqa: B023
            bare_s = timed(lambda: bare.execute(insert, (i, 0, len(batch), blob)))  # noqa: B023
            pairs.append((ours_s, bare_s))
    bare.close()
    store.close()
    lasting = pairs[len(pairs) // 2 :]  # by then both logs have their lasting size
    ours_s, bare_s = np.median(np.array(lasting), axis=0).tolist()
    return ours_s, bare_s


def bare_journal(path: Path) -> apsw.Connection:
    """Open a journal and nothing else, as durable as ours."""
    connection = apsw.Connection(str(path))
    connection.pragma("journal_mode", "wal")
    connection.pragma("synchronous", "FULL")
    connection.execute("CREATE TABLE journal (seq INTEGER PRIMARY KEY, received, n, data BLOB)")
    return connection


def size(folder: Path, short: bool) -> list[Figure]:
    """Count the bytes of the file that are in use, after all is merged, for each reading."""
    figures = []
    hours = 1 if short else 24
    for name, apart, goal in (("value only", False, 3.0), ("raw apart", True, 6.0)):
        store = SqliteReadings(folder / name)
        n = 0
        for batch in batches_of(8, 5 * 3_600, hours, raw_apart=apart):
            store.append(batch)
            n += len(batch)
        settle(store)
        figures.append(figure(f"store: bytes a reading, {name}", used_bytes(store) / n, "B", goal))
        store.close()
    return figures


def trace(folder: Path, short: bool) -> list[Figure]:
    """Read 20 minutes of 8 channels; numpy reads the same columns from one file a channel."""
    store = SqliteReadings(folder)
    batches = list(batches_of(8, 6_000, 3 if short else 12, raw_apart=True))
    for batch in batches:
        store.append(batch)
    settle(store)
    names = list(batches[0].columns)
    begin = START + 7 * MINUTE
    end = begin + 20 * MINUTE
    files = []
    for i, name in enumerate(names):
        found = Columns.concat(store.read(name, begin, end))
        files.append(folder / f"{i}.bin")
        files[-1].write_bytes(as_records(found).tobytes())
    ours_s, plain_s = alternately(
        lambda: [Columns.concat(store.read(name, begin, end)) for name in names],
        lambda: [as_columns(np.fromfile(file, RECORD)) for file in files],
    )
    store.close()
    return [
        figure("store: 20 minutes of 8 channels", 1e3 * ours_s, "ms"),
        figure("store: the same from files by numpy", 1e3 * plain_s, "ms"),
        figure("store: 20 minutes of 8 channels over numpy", ours_s / plain_s, "", goal=3.0),
    ]


def season(folder: Path, short: bool) -> list[Figure]:
    """Summarise 90 days of one 5 Hz channel in 2,000 points; numpy has the array in memory."""
    days = 1 if short else 90
    store = SqliteReadings(folder)
    times, values = [], []
    for batch in batches_of(1, 5 * 3_600, 24 * days):
        store.append(batch)
        (rows,) = batch.columns.values()
        times.append(rows.time)
        values.append(rows.value)
        settle(store)
    (name,) = batch.columns
    time_us, value = np.concatenate(times), np.concatenate(values)
    end = START + days * DAY
    found = store.buckets(name, START, end, 2_000)
    ours_s, plain_s = alternately(
        lambda: store.buckets(name, START, end, 2_000),
        lambda: plain_buckets(time_us, value, START, end, 2_000),
        rounds=5,
    )
    low, mean, high, n = plain_buckets(time_us, value, START, end, 2_000)
    exact = (found.low == low).all() and (found.high == high).all() and (found.n == n).all()
    apart = float(np.abs(found.mean / mean - 1.0).max())
    store.close()
    return [
        figure(f"store: {days} days of a 5 Hz channel to {len(found)} points", 1e3 * ours_s, "ms"),
        figure("store: the same by numpy from memory", 1e3 * plain_s, "ms"),
        figure("store: 90 days to 2,000 points over numpy", ours_s / plain_s, "", goal=3.0),
        figure("store: buckets that differ from numpy's n, low or high", float(not exact), "", 0.0),
        figure("store: largest relative difference to numpy's means", apart, "", 1e-12),
    ]


def plain_buckets(
    time_us: Int64, value: Float64, start: int, end: int, points: int
) -> tuple[Float64, Float64, Float64, Int64]:
    """Give low, mean, high and n of equal buckets, none of which is empty."""
    width = -((start - end) // points)
    starts = np.searchsorted(time_us, np.arange(start, end, width))
    n = np.diff(starts, append=len(value))
    return (
        np.minimum.reduceat(value, starts),
        np.add.reduceat(value, starts) / n,
        np.maximum.reduceat(value, starts),
        n,
    )


def newest(folder: Path, short: bool) -> list[Figure]:
    """Ask for the newest reading of 400 channels, in the writing process and in a reading one."""
    store = SqliteReadings(folder)
    batches = list(batches_of(400, 10, 40 if short else 400))
    for batch in batches:
        store.append(batch)
    names = list(batches[0].columns)
    reader = SqliteReadings(folder, read_only=True)
    figures = []
    for where, asked in (("the writer", store), ("another reader", reader)):
        median_s = float(np.median([timed(lambda: asked.latest(names)) for _ in range(15)]))  # noqa: B023
        figures.append(
            figure(f"store: latest of 400 channels, {where}", 1e3 * median_s, "ms", 10.0)
        )
    reader.close()
    store.close()
    return figures


def stall(folder: Path, short: bool) -> list[Figure]:
    """Append without a pause while 400 channels are merged beside; the longest append counts."""
    store = SqliteReadings(folder)
    batches = batches_of(*((40, 5, 200) if short else (400, 5, 3_000)))
    longest_s, merged_s = 0.0, 0.0
    with housekeeping(store, 0.0) as busy:
        for batch in batches:
            before = busy.pieces
            took = timed(lambda: store.append(batch))  # noqa: B023
            longest_s = max(longest_s, took)
            if busy.pieces > before:
                merged_s = max(merged_s, took)
            if batch.received // MINUTE % 2:
                store.release(2**62)
    store.close()
    return [
        figure("store: longest append, merging beside", 1e3 * longest_s, "ms", 150.0),
        figure("store: longest append that met a piece of housekeeping", 1e3 * merged_s, "ms"),
    ]


def writes(folder: Path, short: bool) -> list[Figure]:
    """Let 2,000 readings/s arrive in 10 commits a second; count what reaches the disk."""
    channels, minutes = (20, 3) if short else (200, 31)
    store = SqliteReadings(folder)
    per_minute: list[int] = []
    before = written_bytes()
    arriving = batches_of(channels, 1, 600 * minutes, step=100_000, raw_apart=True)
    for k, batch in enumerate(arriving):
        store.append(batch)
        if k % 10 == 0:
            store.release(2**62)
            while store.maintain():
                pass
        if k % 600 == 599:
            per_minute.append(written_bytes() - before)
            before = written_bytes()
    store.close()
    steady = per_minute[-20:]  # two whole rounds of merging
    per_day_gb = sum(steady) / len(steady) * 1_440 / 1e9
    return [figure("store: written a day at 2,000 readings/s", per_day_gb, "GB", 50.0)]


def month(folder: Path, short: bool) -> list[Figure]:
    """Live through a month of 8 channels, an append in five minutes, a week of raw kept."""
    days = 1 if short else 30
    store = SqliteReadings(folder)
    resident: list[float] = []
    for k, batch in enumerate(batches_of(8, 60, 288 * days, step=5 * SECOND)):
        result = store.append(batch)
        store.release(result.position)
        store.maintain()
        if k % 288 == 287:
            store.retain(batch.received - 7 * DAY, [])
            gc.collect()
            resident.append(resident_mb())
    store.close()
    half = len(resident) // 2
    growth = float(np.median(resident[half:]) / np.median(resident[: max(1, half)]))
    return [
        figure("store: resident memory after a simulated month", resident[-1], "MB"),
        figure("store: memory, second half of the month over the first", growth, "", 1.05),
    ]


RECORD = np.dtype(
    [
        ("time", np.int64),
        ("value", np.float64),
        ("raw", np.float64),
        ("quality", np.uint8),
        ("reason", np.uint8),
        ("plant", np.uint32),
    ]
)


def as_records(rows: Columns) -> np.ndarray[Any, np.dtype[np.void]]:
    """Lay the columns of a trace down as records."""
    records = np.empty(len(rows), RECORD)
    for field in RECORD.names or ():
        records[field] = getattr(rows, field)
    return records


def as_columns(records: np.ndarray[Any, np.dtype[np.void]]) -> Columns:
    """Give the columns, each contiguous as the store gives them."""
    return Columns(*(records[field].copy() for field in RECORD.names or ()))
