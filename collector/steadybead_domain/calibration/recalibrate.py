"""Readings and summaries as they would be with the calibrations in force: `as=recalibrated`.

What is stored stays as it is. Times are µs, intervals [start, end).
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from steadybead_domain.calibration.timeline import Timeline, correct, correct_buckets
from steadybead_domain.ports import ReadingsStore
from steadybead_domain.readings import Buckets, Columns, Float64, Quality, Reason

_WITHOUT_VALUE: Final = np.array([r for r in Reason if not r.has_value], np.uint8)


def recalibrated_columns(columns: Columns, line: Timeline) -> Columns:
    """Recalibrate readings of one channel; those without a value stay without."""
    value = correct(line, columns.time, columns.value).value
    lost = (columns.quality == Quality.BAD) & np.isin(columns.reason, _WITHOUT_VALUE)
    value[lost] = columns.value[lost]
    return replace(columns, value=value)


def read_recalibrated(
    store: ReadingsStore, line: Timeline, start: int, end: int
) -> Iterator[Columns]:
    """Walk the recalibrated readings as `ReadingsStore.read` walks the recorded ones."""
    for part in store.read(line.channel, start, end):
        yield recalibrated_columns(part, line)


def recalibrated_buckets(
    store: ReadingsStore, line: Timeline, start: int, end: int, points: int
) -> Buckets:
    """Summarise like `ReadingsStore.buckets`, recalibrated.

    Summaries serve where that is exact, which is all but those that a change of the correction
    or a bend of it passes through; raw readings are read for those.
    """
    recorded = store.buckets(line.channel, start, end, points)
    corrected, exact = correct_buckets(line, recorded)
    low, mean, high = corrected.low.copy(), corrected.mean.copy(), corrected.high.copy()
    for i in np.flatnonzero(~exact):
        values = _sound_values(store, line, int(recorded.start[i]), int(recorded.end[i]))
        if len(values):
            low[i], mean[i], high[i] = values.min(), values.mean(), values.max()
    return replace(corrected, low=low, mean=mean, high=high)


def _sound_values(store: ReadingsStore, line: Timeline, start: int, end: int) -> Float64:
    """Collect the recalibrated values of one bucket that are not bad."""
    parts = read_recalibrated(store, line, start, end)
    sound = [part.value[part.quality < Quality.BAD] for part in parts]
    return np.concatenate([np.empty(0, np.float64), *sound])
