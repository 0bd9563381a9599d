import json
from dataclasses import replace

import numpy as np

from shop_language import columns
from steadybead_domain.diagnosis.grid import NEVER, STEP, ChannelGrid
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Quality, Reason
from steadybead_domain.times import SECOND

FLOW = Channel(ChannelId("n", "b", "gun-a/flow"), Quantity.AIR_FLOW, "L/min", silence_s=2.0)
T0 = 1_777_900_000 * SECOND
START = T0 // STEP


def at(*pairs: tuple[float, float]) -> Columns:
    times = np.array([T0 + round(t * SECOND) for t, _ in pairs], np.int64)
    return columns(times, np.array([v for _, v in pairs], np.float64))


def test_a_step_takes_the_mean_of_its_readings_and_then_holds_it() -> None:
    grid = ChannelGrid(FLOW)
    grid.push(at((0.0, 10.0), (0.2, 20.0), (1.0, 30.0)), None)
    trace = grid.trace(START, 4)
    assert trace.value.tolist() == [15.0, 15.0, 30.0, 30.0]
    assert trace.fresh.tolist() == [True, False, True, False]


def test_a_value_is_not_held_beyond_the_silence_limit() -> None:
    grid = ChannelGrid(FLOW)
    grid.push(at((0.0, 10.0)), None)
    value = grid.trace(START, 8).value
    assert value[:5].tolist() == [10.0] * 5
    assert np.isnan(value[5:]).all()


def test_nothing_is_known_before_the_first_reading() -> None:
    trace = ChannelGrid(FLOW).trace(START, 2)
    assert np.isnan(trace.value).all()
    assert (trace.heard == NEVER).all()


def test_a_bad_reading_takes_the_value_away_at_once_and_names_its_reason() -> None:
    grid = ChannelGrid(FLOW)
    bad = columns(np.array([T0 + SECOND]), np.zeros(1), Quality.BAD, Reason.OPEN_CIRCUIT)
    grid.push(at((0.0, 10.0)), None)
    grid.push(bad, None)
    grid.push(at((2.0, 11.0)), None)
    trace = grid.trace(START, 5)
    assert trace.value.tolist()[:2] == [10.0, 10.0]
    assert np.isnan(trace.value[2:4]).all()
    assert trace.reason.tolist() == [0, 0, Reason.OPEN_CIRCUIT, Reason.OPEN_CIRCUIT, 0]
    assert trace.value[4] == 11.0
    assert (trace.heard[2] - T0) == SECOND


def test_uncertain_readings_are_used() -> None:
    grid = ChannelGrid(FLOW)
    grid.push(
        columns(np.array([T0]), np.array([7.0]), Quality.UNCERTAIN, Reason.TIME_OF_RECEIPT), None
    )
    assert grid.trace(START, 1).value.tolist() == [7.0]


def test_late_readings_are_counted_and_change_nothing() -> None:
    grid = ChannelGrid(FLOW)
    grid.push(at((0.0, 10.0), (0.6, 12.0)), None)
    grid.trace(START, 1)
    grid.push(at((0.1, 99.0), (0.7, 14.0)), START + 1)
    assert grid.late == 1
    assert grid.trace(START + 1, 1).value.tolist() == [13.0]


def test_memory_comes_back_from_json() -> None:
    grid, copy = ChannelGrid(FLOW), ChannelGrid(FLOW)
    grid.push(at((0.0, 10.0), (1.0, 12.0)), None)
    grid.trace(START, 1)
    copy.load(json.loads(json.dumps(grid.dump())))
    one, two = grid.trace(START + 1, 4), copy.trace(START + 1, 4)
    assert one.value.tolist() == two.value.tolist()
    assert one.heard.tolist() == two.heard.tolist()


def test_steps_one_by_one_are_the_steps_of_a_block() -> None:
    draw = np.random.default_rng(5)
    time_us = T0 + np.sort(draw.integers(0, 40 * SECOND, 120))
    quality = draw.choice([Quality.GOOD, Quality.UNCERTAIN, Quality.BAD], 120).astype(np.uint8)
    reason = np.where(quality == Quality.BAD, draw.choice([3, 6, 7], 120), 0).astype(np.uint8)
    rows = replace(columns(time_us, draw.normal(50, 9, 120)), quality=quality, reason=reason)
    whole, single = ChannelGrid(FLOW), ChannelGrid(FLOW)
    order = np.split(np.arange(120), [40, 80])
    for part in (order[0], order[2], order[1]):
        whole.push(rows.take(part), None)
        single.push(rows.take(part), None)
    block, steps = whole.trace(START, 80), [single.trace(START + i, 1) for i in range(80)]
    for name in ("value", "fresh", "heard", "reason"):
        column = getattr(block, name)
        one_by_one = np.concatenate([getattr(step, name) for step in steps])
        assert one_by_one.dtype == column.dtype
        np.testing.assert_array_equal(one_by_one, column)
    assert single.dump() == whole.dump()
