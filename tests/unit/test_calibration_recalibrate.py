"""`as=recalibrated` over a store: what is recorded stays, and summaries match raw readings."""

from dataclasses import replace

import numpy as np
import pytest

from calibration_samples import CHANNEL, FITTING, NOW, calibration, offset
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.calibration.model import Calibration
from steadybead_domain.calibration.recalibrate import (
    read_recalibrated,
    recalibrated_buckets,
    recalibrated_columns,
)
from steadybead_domain.calibration.timeline import Timeline, timeline
from steadybead_domain.readings import Batch, Columns, Quality, Reading, Reason
from steadybead_domain.times import DAY, HOUR, SECOND

START = NOW - 11 * DAY
N = 400


def recorded() -> Columns:
    draw = np.random.default_rng(5)
    quality = np.where(draw.random(N) < 0.1, Quality.BAD, Quality.GOOD).astype(np.uint8)
    reason = np.where(quality == Quality.BAD, Reason.OPEN_CIRCUIT, Reason.NONE).astype(np.uint8)
    value = np.where(quality == Quality.BAD, 0.0, draw.uniform(90.0, 510.0, N))
    time = START + np.arange(N, dtype=np.int64) * (2 * DAY // N)
    return Columns(time, value, value + 1.0, quality, reason, np.ones(N, np.uint32))


@pytest.fixture
def store() -> MemoryReadings:
    filled = MemoryReadings()
    filled.append(Batch(NOW, {CHANNEL: recorded()}))
    return filled


def line_of(*calibrations: Calibration) -> Timeline:
    return timeline(CHANNEL, "Cel", [FITTING], calibrations)


def test_readings_change_from_the_effective_time_and_only_those_with_a_value(
    store: MemoryReadings,
) -> None:
    parts = read_recalibrated(store, line_of(offset(305.0, 300.0)), START, NOW)
    found, old = Columns.concat(parts), recorded()
    held = (old.time >= NOW - 10 * DAY) & (old.quality == Quality.GOOD)
    assert 100 < held.sum() < N
    assert found.value.tolist() == np.where(held, old.value - 5.0, old.value).tolist()
    assert found.raw.tolist() == old.raw.tolist()
    kept = Columns.concat(store.read(CHANNEL, START, NOW))
    assert kept.value.tolist() == old.value.tolist()


@pytest.mark.parametrize("points", [1, 7, 48, 200])
@pytest.mark.parametrize("held", [offset(305.0, 300.0), calibration()])
def test_summaries_equal_those_of_the_recalibrated_readings(
    store: MemoryReadings, points: int, held: Calibration
) -> None:
    line = line_of(held)
    found = recalibrated_buckets(store, line, START, START + 2 * DAY, points)
    values = Columns.concat(read_recalibrated(store, line, START, START + 2 * DAY))
    assert len(found) > 0
    for i in range(len(found)):
        inside = (values.time >= found.start[i]) & (values.time < found.end[i])
        sound = values.value[inside & (values.quality == Quality.GOOD)]
        assert found.n[i] == len(sound)
        if len(sound):
            ours = (found.low[i], found.mean[i], found.high[i])
            assert ours == pytest.approx((sound.min(), sound.mean(), sound.max()))


def test_bad_readings_that_still_have_a_value_are_recalibrated_too() -> None:
    rows = [
        Reading(NOW, 305.0, 1.0, Quality.BAD, Reason.CLOCK, 1),
        Reading(NOW + SECOND, None, 1.0, Quality.BAD, Reason.OPEN_CIRCUIT, 1),
    ]
    found = recalibrated_columns(Columns.of(rows), line_of(offset(305.0, 300.0)))
    assert found.value.tolist() == [300.0, 0.0]
    assert found.row(1).value is None


def test_without_a_calibration_nothing_changes(store: MemoryReadings) -> None:
    line = line_of()
    found = recalibrated_buckets(store, line, START, START + HOUR * 30, 9)
    plain = store.buckets(CHANNEL, START, START + HOUR * 30, 9)
    assert found.mean.tolist() == pytest.approx(plain.mean.tolist(), nan_ok=True)
    withdrawn = replace(offset(305.0, 300.0), withdrawn=True)
    assert line_of(withdrawn) == line
