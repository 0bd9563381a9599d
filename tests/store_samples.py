"""Readings for the tests of the stores, and an oracle that shares no code with them."""

import math
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

import numpy as np

from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import ReadingsStore
from steadybead_domain.readings import Batch, Buckets, Columns, Quality, Reading, Reason
from steadybead_domain.times import MINUTE

NOZZLE = ChannelId("north", "bay-1", "gun-a/nozzle")
FLOW = ChannelId("north", "bay-1", "gun-a/flow")
OTHER = ChannelId("north", "bay-2", "blower/filter")
START = 1_777_879_800_000_000  # 2026-05-04T07:30:00Z, a whole ten minutes
WINDOW = 10 * MINUTE


def reading(
    time: int,
    value: float,
    raw: float | None = None,
    quality: Quality = Quality.GOOD,
    reason: Reason = Reason.NONE,
    plant: int = 1,
) -> Reading:
    return Reading(time, value, value if raw is None else raw, quality, reason, plant)


def batch(
    rows: Mapping[ChannelId, Iterable[Reading]], received: int = START + 365 * 24 * 60 * MINUTE
) -> Batch:
    return Batch(received, {name: Columns.of(readings) for name, readings in rows.items()})


def steady(
    n: int, start: int = START, step: int = 200_000, low: float = 300.0, seed: int = 1
) -> Columns:
    """Make n readings in steps of 0.01 with jittered times, raw apart from the value."""
    rng = np.random.default_rng(seed)
    time = start + np.arange(n, dtype=np.int64) * step + rng.integers(0, step // 2, n)
    value = np.round(low + rng.normal(0.0, 0.3, n), 2)
    return Columns(
        time,
        value,
        np.round(value / 24.4, 3),
        np.zeros(n, np.uint8),
        np.zeros(n, np.uint8),
        np.ones(n, np.uint32),
    )


def all_of(store: ReadingsStore, channel: ChannelId, start: int, end: int) -> Columns:
    return Columns.concat(store.read(channel, start, end))


def bits(rows: Columns) -> list[bytes]:
    """Give every column's bytes: equal means equal to the bit."""
    columns = (rows.time, rows.value, rows.raw, rows.quality, rows.reason, rows.plant)
    return [column.tobytes() for column in columns]


def settle(store: ReadingsStore) -> None:
    """Do housekeeping until nothing waits."""
    for _ in range(100_000):
        if not store.maintain():
            return
    raise AssertionError("housekeeping never ends")


def oracle_buckets(
    rows: Sequence[Reading], start: int, end: int, points: int
) -> dict[int, tuple[int, int, float, float, float, int]]:
    """Give start → (end, n, low, mean, high, worst) with rational arithmetic, from the contract.

    Equal buckets of ceil(span / points) µs from `start`; bad readings and such without a value
    count in the worst quality only; the mean is the rational mean, rounded once.
    """
    width = max(1, math.ceil(Fraction(end - start, points)))
    found: dict[int, list[Reading]] = {}
    for row in rows:
        if start <= row.time < end:
            found.setdefault((row.time - start) // width, []).append(row)
    return {
        start + i * width: (min(end, start + (i + 1) * width), *_summary(inside))
        for i, inside in found.items()
    }


def _summary(rows: Sequence[Reading]) -> tuple[int, float, float, float, int]:
    good = [
        r.value
        for r in rows
        if r.quality != Quality.BAD and r.reason.has_value and r.value is not None
    ]
    worst = max(int(r.quality) for r in rows)
    if not good:
        return 0, math.nan, math.nan, math.nan, worst
    mean = float(sum(map(Fraction, good), Fraction()) / len(good))
    return len(good), min(good), mean, max(good), worst


def bucket_rows(found: Buckets) -> dict[int, tuple[int, int, float, float, float, int]]:
    rows = zip(
        found.start.tolist(),
        found.end.tolist(),
        found.n.tolist(),
        found.low.tolist(),
        found.mean.tolist(),
        found.high.tolist(),
        found.quality.tolist(),
        strict=True,
    )
    return {start: rest for start, *rest_list in rows if (rest := tuple(rest_list))}


def assert_buckets(
    found: Buckets, rows: Sequence[Reading], start: int, end: int, points: int
) -> None:
    expected = oracle_buckets(rows, start, end, points)
    got = bucket_rows(found)
    assert list(got) == sorted(expected)
    assert len(got) <= points
    for begin, row in got.items():
        np.testing.assert_array_equal(np.array(row, float), np.array(expected[begin], float))
        assert row[0] == expected[begin][0]
