"""What age costs: the same questions to a store of one day and of ninety, and its start.

Eight channels at 5 Hz, day and night, as one shop would leave them behind. All eight carry the
same drawn values, which no question can tell; each is packed, hashed and stored for itself.
"""

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from bench.store_support import (
    START,
    Figure,
    alternately,
    figure,
    scratch,
    settle,
    timed,
)
from brokers_ingest import until
from steadybead_collector.stores import SqliteReadings
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Batch, Columns, Float64, Joined
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND
from whole_process import Server

STEP = 200_000
AGES = (1, 3, 10, 30, 90)
STATIONS = 50
WHAT = {
    "nozzle": "nozzle_temperature",
    "flow": "air_flow",
    "output": "heater_output",
    "terminal": "terminal_temperature",
}
UNITS = {"nozzle": "Cel", "flow": "L/min", "output": "%", "terminal": "Cel"}
NAMES = [
    ChannelId("north", f"bay-{station}", f"gun-{gun}/{what}")
    for station in range(STATIONS)
    for gun in "ab"
    for what in WHAT
]


def main(short: bool) -> list[Figure]:
    """Run all; `short` only shows that everything works, its figures mean nothing."""
    found = [*aged(short), *year(short)]
    return [line | {"goal": None, "met": None} for line in found] if short else found


def aged(short: bool) -> Iterator[Figure]:
    """Ask the same questions as the store grows old, then start the product on it."""
    with scratch() as folder:
        data = folder / "data"
        store = SqliteReadings(data)
        for age in AGES[:1] if short else AGES:
            grow(store, age, short)
            yield from asked(store, age)
        add_rollups(store)
        store.close()
        yield figure("store: its file", (data / "readings.sqlite").stat().st_size / 1e9, "GB")
        what = "store: `run` ready on 90 days of 8 channels and rollups of 400"
        yield figure(what, start_s(folder, data, 1 if short else 3), "s", 2.0)


def grow(store: SqliteReadings, age: int, short: bool) -> None:
    """Append and merge until the store is `age` days old."""
    newest = store.latest(NAMES[:1])
    begun = max((r.time for r in newest.values()), default=START - 1)
    hours = (START + age * DAY - begun) // HOUR
    draw = np.random.default_rng(age)
    for hour in range(hours - (22 if short else 0)):
        rows = readings(draw, begun // STEP * STEP + STEP + hour * HOUR, HOUR // STEP, STEP)
        store.append(Batch(rows.time.item(-1), Joined.of(dict.fromkeys(NAMES[:8], rows))))
        settle(store)


def readings(draw: np.random.Generator, begin: int, n: int, step: int) -> Columns:
    """Draw n readings in steps of 0.01 with µs jitter, raw as the value."""
    jitter = np.clip(np.round(draw.normal(0.0, 200.0, n)), 1 - step / 2, step / 2 - 1)
    time_us = begin + np.arange(n) * step + jitter.astype(np.int64)
    value = np.round(300.0 + np.cumsum(draw.normal(0.0, 0.01, n)) + draw.normal(0.0, 0.2, n), 2)
    zeros, ones = np.zeros(n, np.uint8), np.ones(n, np.uint32)
    return Columns(time_us, value, value, zeros, zeros, ones)


def asked(store: SqliteReadings, age: int) -> Iterator[Figure]:
    """Measure a trace in the middle of the age, the whole age in a picture, and the newest."""
    eight, middle = NAMES[:8], START + age * DAY // 2
    questions: dict[str, Callable[[], object]] = {
        "20 minutes of 8 channels": lambda: [
            Columns.concat(store.read(name, middle, middle + 20 * MINUTE)) for name in eight
        ],
        "its whole age to 2,000 points": lambda: store.buckets(
            eight[0], START, START + age * DAY, 2_000
        ),
        "its whole age by day": lambda: store.buckets(eight[0], START, START + age * DAY, age),
        "latest of 8 channels": lambda: store.latest(eight),
    }
    for what, ask in questions.items():
        best_s = min(timed(ask) for _ in range(15))
        yield figure(f"store: {age} days old: {what}", 1e3 * best_s, "ms")


def add_rollups(store: SqliteReadings) -> None:
    """Give the other channels the rollups and the newest reading of the first."""
    with store._database.writing() as connection, connection:
        for number, name in enumerate(NAMES[8:], 9):
            connection.execute("INSERT INTO channel (id, name) VALUES (?, ?)", (number, str(name)))
            connection.execute(
                "INSERT INTO rollup SELECT ?, hours, number, count, n, low, high, total, worst"
                " FROM rollup WHERE channel = 1",
                (number,),
            )
            connection.execute(
                "INSERT INTO newest SELECT ?, data FROM newest WHERE channel = 1", (number,)
            )


def start_s(folder: Path, data: Path, rounds: int) -> float:
    """Give the best time from the command to a ready product."""
    plant = folder / "plant.toml"
    plant.write_text(plant_text(), "utf-8")
    words = ("run", "--config", str(plant), "--data", str(data), "--port", "0")
    return min(timed(lambda: run_once(words)) for _ in range(rounds))


def run_once(words: tuple[str, ...]) -> None:
    """Start, and end as soon as it is ready."""
    running = Server(*words)
    try:
        until(running.ready, 60.0)
    finally:
        running.kill()


def plant_text() -> str:
    """Write a plant of 400 channels."""
    lines = ['[site]\nid = "north"\ntimezone = "Europe/Lisbon"\n[mqtt]\nlisten = "127.0.0.1:0"\n']
    for station in range(STATIONS):
        lines.append(f'[[station]]\nid = "bay-{station}"\nprocedure = "pp-speed-nozzle"\n')
        for name in NAMES[8 * station : 8 * station + 8]:
            what = name.channel.split("/")[1]
            lines.append(
                f'[[station.channel]]\nid = "{name.channel}"\nquantity = "{WHAT[what]}"\n'
                f'unit = "{UNITS[what]}"\n'
            )
    return "".join(lines)


def year(short: bool) -> Iterator[Figure]:
    """Twelve months of daily values of 8 channels, 8 hours a working day at 1 Hz.

    numpy has the values of all days in memory, and goes over them once for each channel.
    """
    weeks = 1 if short else 52
    draw = np.random.default_rng(12)
    days = [START + (7 * week + day) * DAY for week in range(weeks) for day in range(5)]
    parts = []
    with scratch() as folder:
        store = SqliteReadings(folder)
        for begin in days:
            parts.append(readings(draw, begin, 8 * HOUR // SECOND, SECOND))
            columns = Joined.of(dict.fromkeys(NAMES[:8], parts[-1]))
            store.append(Batch(begin + 8 * HOUR, columns))
            settle(store)
        first, count = START // DAY * DAY, 7 * weeks
        end = first + count * DAY
        rows = Columns.concat(parts)
        ours_s, plain_s = alternately(
            lambda: [store.buckets(name, first, end, count) for name in NAMES[:8]],
            lambda: [by_day(rows, days) for _ in NAMES[:8]],
            rounds=9,
        )
        yield figure("store: 12 months of daily values of 8 channels", 1e3 * ours_s, "ms")
        yield figure("store: the same by numpy from memory", 1e3 * plain_s, "ms")
        what = "store: 12 months of daily values of 8 channels over numpy"
        yield figure(what, ours_s / plain_s, "", 3.0)
        yield from held_to_raw(store, first, end, count)
        store.close()


def by_day(rows: Columns, days: list[int]) -> list[Float64]:
    """Give least, mean and greatest value of each day."""
    starts = np.searchsorted(rows.time, days)
    n = np.diff(starts, append=len(rows))
    return [
        np.minimum.reduceat(rows.value, starts),
        np.add.reduceat(rows.value, starts) / n,
        np.maximum.reduceat(rows.value, starts),
    ]


def held_to_raw(store: SqliteReadings, first: int, end: int, count: int) -> Iterator[Figure]:
    """Hold the daily values to the raw readings, read back and added up by `math.fsum`."""
    found = store.buckets(NAMES[0], first, end, count)
    apart, farthest = 0, 0.0
    for i in range(len(found)):
        begin, stop = int(found.start[i]), int(found.end[i])
        value = np.concatenate([rows.value for rows in store.read(NAMES[0], begin, stop)])
        same = (len(value), value.min(), value.max()) == (found.n[i], found.low[i], found.high[i])
        apart += not same
        mean = math.fsum(value.tolist()) / len(value)
        farthest = max(farthest, abs(float(found.mean[i]) / mean - 1.0))
    yield figure("store: days whose n, low or high differ from raw", float(apart), "", 0.0)
    yield figure("store: largest relative difference to means of raw", farthest, "", 1e-15)
