"""Readings, times and sizes for the benches of the readings stores."""

import os
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from steadybead_collector.stores import SqliteReadings
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Batch, Columns

Figure = dict[str, Any]
START = 1_777_879_800_000_000  # 2026-05-04T07:30:00Z
STEP = 200_000  # 5 Hz
JITTER_US = 200.0  # standard deviation
SEED = 7


def batches_of(
    channels: int, each: int, count: int, *, step: int = STEP, raw_apart: bool = False
) -> Iterator[Batch]:
    """Make batches of `each` readings of every channel: steps of 0.01, times with µs jitter."""
    draw = np.random.default_rng(SEED)
    names = [ChannelId("north", f"bay-{i // 8}", f"gun-a/c{i % 8}") for i in range(channels)]
    zeros, ones = np.zeros(each, np.uint8), np.ones(each, np.uint32)
    level = draw.uniform(50.0, 400.0, channels)
    for k in range(count):
        begin = START + k * each * step
        columns = {}
        for i, name in enumerate(names):
            jitter = np.clip(
                np.round(draw.normal(0.0, JITTER_US, each)), 1 - step / 2, step / 2 - 1
            )
            time_us = begin + np.arange(each) * step + step // 2 + jitter.astype(np.int64)
            level[i] += draw.normal(0.0, 0.05)
            wander = level[i] + np.cumsum(draw.normal(0.0, 0.01, each))
            value = np.round(wander + draw.normal(0.0, 0.2, each), 2)
            raw = np.round(value / 24.37, 3) if raw_apart else value
            columns[name] = Columns(time_us, value, raw, zeros, zeros, ones)
        yield Batch(begin + each * step, columns)


class Busy:
    """How many pieces of housekeeping were done."""

    pieces = 0


@contextmanager
def housekeeping(store: SqliteReadings, pause_s: float) -> Iterator[Busy]:
    """Keep house in a thread beside."""
    stop, busy = threading.Event(), Busy()

    def run() -> None:
        while not stop.is_set():
            if store.maintain():
                busy.pieces += 1
                stop.wait(pause_s)
            else:
                stop.wait(0.02)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield busy
    finally:
        stop.set()
        thread.join()


def settle(store: SqliteReadings) -> None:
    """Merge and trim until nothing waits."""
    store.release(2**62)
    store.seal(2**61)
    while store.maintain():
        pass


def used_bytes(store: SqliteReadings) -> int:
    """Give the bytes of the file's pages that hold something."""
    with store._database.reading() as connection:
        pages = connection.pragma("page_count") - connection.pragma("freelist_count")
        return int(pages * connection.pragma("page_size"))


def written_bytes() -> int:
    """Give what this process sent to the disk so far (Linux)."""
    lines = Path("/proc/self/io").read_text(encoding="ascii").splitlines()
    return int(dict(line.split(": ") for line in lines)["write_bytes"])


def resident_mb() -> float:
    """Give the memory of this process that is in RAM (Linux)."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def alternately(
    one: Callable[[], object], other: Callable[[], object], rounds: int = 101
) -> tuple[float, float]:
    """Take the best of some runs of each, in turn: what else the machine does counts little."""
    pairs = [(timed(one), timed(other)) for _ in range(rounds)]
    first, second = np.min(np.array(pairs), axis=0).tolist()
    return first, second


def timed(run: Callable[[], object]) -> float:
    """Give the seconds of one run."""
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


@contextmanager
def scratch() -> Iterator[Path]:
    """Lend a folder on the disk that holds temporary files."""
    folder = Path(tempfile.mkdtemp(prefix="steadybead-bench-"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def figure(name: str, value: float, unit: str, goal: float | None = None) -> Figure:
    """Make one line of the report; `goal` is the largest value that is meant."""
    met = None if goal is None else bool(value <= goal)
    return {"name": name, "value": value, "unit": unit, "goal": goal, "met": met}
