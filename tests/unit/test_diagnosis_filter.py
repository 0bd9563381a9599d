import json
from dataclasses import replace

import numpy as np
import pytest

from filter_logs import Run
from steadybead_domain.diagnosis.filter import (
    DUE,
    FELL,
    NO_LIMIT,
    REACHED,
    ROSE,
    FilterTracker,
    FilterUpdate,
)
from steadybead_domain.diagnosis.filter_bins import MOST, RunBins
from steadybead_domain.diagnosis.filter_data import Flow, Sample, Spacing, TimeGuard

LIMIT = 600.0


def followed(samples: list[Sample], limit_pa: float | None = LIMIT) -> list[FilterUpdate]:
    tracker = FilterTracker(limit_pa)
    updates = [u for s in samples for u in tracker.update(s)]
    return [*updates, *tracker.finish()]


def at(updates: list[FilterUpdate], time_s: float) -> FilterUpdate:
    return [u for u in updates if u.time_s <= time_s][-1]


@pytest.mark.parametrize("straight", [False, True])
@pytest.mark.parametrize("life_s", [20.0, 100.0, 2e6])
def test_half_way_the_rest_of_the_life_is_foreseen(life_s: float, straight: bool) -> None:
    run = Run(life_s=life_s, straight=straight, start=0.1 if straight else 0.02)
    half = at(followed(run.samples()), life_s / 2)
    true = life_s - half.time_s
    assert half.remaining_s is not None
    assert half.low_s is not None
    assert half.high_s is not None
    assert half.low_s <= true <= half.high_s
    assert half.remaining_s == pytest.approx(true, rel=0.3)


def test_growth_and_resistance_are_told_in_their_units() -> None:
    run = Run()
    half = at(followed(run.samples()), 50.0)
    assert half.growth_per_h == pytest.approx(-np.log(0.02) / 100.0 * 3600.0, rel=0.15)
    assert half.resistance == pytest.approx(LIMIT * 0.02**0.5, rel=0.15)


def test_the_change_is_announced_before_the_limit_and_the_limit_when_it_is_there() -> None:
    updates = followed(Run().samples(until=1.1))
    first = {u.finding: u.time_s for u in reversed(updates)}
    assert 60.0 < first[DUE] < 97.0
    assert first[DUE] < first[REACHED]
    assert first[REACHED] == pytest.approx(100.0, abs=1.5)


def test_a_short_log_says_nothing_it_cannot_know() -> None:
    updates = followed(Run().samples(until=0.007))
    assert updates
    assert all(u.remaining_s is None and u.finding for u in updates)


def test_a_drop_that_does_not_grow_gets_no_forecast() -> None:
    draw = np.random.default_rng(5)
    flat = [Sample(float(t), 120.0 + float(draw.standard_normal())) for t in range(2000)]
    last = followed(flat)[-1]
    assert last.remaining_s is None or last.low_s > 1.5 * 2000  # type: ignore[operator]


def test_without_a_limit_only_the_growth_is_told() -> None:
    last = at(followed(Run().samples(), None), 60.0)
    assert last.finding == NO_LIMIT
    assert last.remaining_s is None
    assert last.growth_per_h == pytest.approx(-np.log(0.02) / 100.0 * 3600.0, rel=0.3)


@pytest.mark.parametrize("wrong", [-1e9, 0.0, 49.0, 51.5, 1e9])
@pytest.mark.parametrize("place", [0, 1, 200, 399])
def test_one_bad_time_stamp_moves_nothing(wrong: float, place: int) -> None:
    samples = Run(n=400).samples()
    samples[place] = replace(samples[place], time_s=wrong)
    bent = at(followed(samples), 80.0)
    assert bent.low_s is not None
    assert bent.high_s is not None
    assert bent.low_s <= 100.0 - bent.time_s <= bent.high_s
    assert bent.high_s < 3.0 * bent.low_s


def test_clipping_at_zero_rounding_and_an_offset_are_borne() -> None:
    run = Run(offset_pa=-8.0, noise_pa=6.0)
    rows = [Sample(s.time_s, max(0.0, round(s.drop_pa))) for s in run.samples()]
    late = at(followed(rows), 75.0)
    assert late.low_s is not None
    assert late.high_s is not None
    assert late.low_s <= 25.0 + 3.0
    assert late.high_s >= 25.0 - 3.0


def test_guns_and_pauses_do_not_disturb_and_the_exponent_is_learnt() -> None:
    run = Run(life_s=50_000.0, n=5000, offset_pa=12.0)
    tracker = FilterTracker(LIMIT)
    updates = [u for s in run.with_flow(exponent=1.6, until=0.6) for u in tracker.update(s)]
    last = updates[-1]
    assert tracker.flow.exponent == pytest.approx(1.6, abs=0.1)
    assert tracker.zero.offset_pa == pytest.approx(12.0, abs=2.0)
    assert tracker.flow.usual == pytest.approx(100.0, rel=0.02)
    rest_of_volume = 0.4 * 50_000.0 * 80.0
    mean_flow = 75.0
    true = rest_of_volume / mean_flow
    assert last.low_s is not None
    assert last.high_s is not None
    assert last.low_s <= true <= last.high_s


def test_days_with_one_gun_after_days_with_two_are_no_fall() -> None:
    draw = np.random.default_rng(6)
    rows, volume = [], 0.0
    for i in range(6000):
        flow = 100.0 if i < 2000 or i > 5000 else 50.0
        volume += flow
        clean = 60.0 * np.exp(volume / 6e5) * (flow / 100.0) ** 1.4
        rows.append(Sample(i * 30.0, float(clean + draw.standard_normal()), flow))
    said = {u.finding for u in followed(rows, 600.0)}
    assert not said & {ROSE, FELL}


def test_a_sudden_blockage_is_told_and_the_forecast_suspended() -> None:
    samples = Run(straight=True, start=0.1).samples(until=0.6)
    blocked = [replace(s, drop_pa=s.drop_pa + 200.0) if s.time_s > 50 else s for s in samples]
    updates = followed(blocked)
    first = next(u for u in updates if u.finding == ROSE)
    assert 50.0 < first.time_s < 55.0
    assert first.remaining_s is None


def test_a_filter_left_in_beyond_its_limit_is_one_finding() -> None:
    run = Run(straight=True, start=0.1)
    share = np.arange(2500) / 1000
    far = [
        Sample(float(s * 100.0), float(p)) for s, p in zip(share, run.drop_pa(share), strict=True)
    ]
    said = [u.finding for u in followed(far) if u.time_s > 101.0]
    assert said
    assert set(said) == {REACHED}


def test_a_drop_that_falls_without_a_record_asks_what_was_done() -> None:
    run = Run(straight=True, start=0.1)
    again = [replace(s, time_s=s.time_s + 70.0) for s in run.samples(until=0.6)]
    updates = followed([*run.samples(until=0.7), *again])
    first = next(u for u in updates if u.finding == FELL)
    assert 70.0 < first.time_s < 75.0
    assert first.remaining_s is None
    late = updates[-1]
    assert late.remaining_s is not None
    assert late.remaining_s == pytest.approx(40.0, rel=0.5)


def test_a_meter_that_shows_noise_around_zero_before_the_air_is_on_reaches_no_limit() -> None:
    draw = np.random.default_rng(8)
    idle = [
        Sample(float(t), 60.0 + float(draw.standard_normal()), abs(float(draw.normal(0.0, 0.3))))
        for t in range(60)
    ]
    run = [replace(s, time_s=s.time_s + 60.0) for s in Run(life_s=5e4).with_flow(until=0.05)]
    tracker = FilterTracker(600.0, least_flow=15.0)
    assert REACHED not in {u.finding for s in [*idle, *run] for u in tracker.update(s)}
    assert followed([*idle, *run])[-1].finding != REACHED


def test_memory_does_not_grow_and_comes_back_from_json() -> None:
    samples = Run(n=4000).samples()
    one, two = FilterTracker(LIMIT), FilterTracker(LIMIT)
    sizes = []
    for i, sample in enumerate(samples):
        if i % 500 == 250:
            data = json.dumps(two.dump())
            sizes.append(len(data))
            two = FilterTracker(LIMIT)
            two.load(json.loads(data))
        assert one.update(sample) == two.update(sample)
    assert max(sizes) < 8000
    assert max(sizes) < 1.6 * sizes[0]


def test_the_time_guard_waits_one_sample_and_leaves_out_the_odd_one() -> None:
    guard = TimeGuard()
    times = [0.0, 1.0, 2.0, 3.0, 4.0, 99.0, 5.0, 6.0, 6.0, -1e9, 7.0]
    passed = [s.time_s for t in times for s in guard.pass_on(Sample(t, 0.0))]
    passed += [s.time_s for s in guard.rest()]
    assert passed == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]
    assert guard.left_out == 3


@pytest.mark.parametrize("wrong", [-1e9, -5.0, 2.5, 1e9])
@pytest.mark.parametrize("place", range(5))
def test_a_bad_time_stamp_among_the_first_is_left_out(wrong: float, place: int) -> None:
    guard, times = TimeGuard(), [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    times[place] = wrong
    passed = [s.time_s for t in times for s in guard.pass_on(Sample(t, 0.0))]
    passed += [s.time_s for s in guard.rest()]
    assert passed == sorted(passed)
    assert len(passed) >= 6
    assert max(np.diff(passed)) < 10.0


def test_a_long_gap_is_no_running_time() -> None:
    spacing = Spacing()
    running = [spacing.running(s) for s in (1.0, 1.0, 1.0, 3600.0, 1.0)]
    assert running[3] < 2.0


def test_bins_hold_everything_in_64_places() -> None:
    bins = RunBins()
    for i in range(100_000):
        bins.add(i * 0.5, float(i), at_zero=False)
    assert len(bins.n) <= MOST
    assert sum(bins.n) == 100_000
    x, y, _, _, _ = bins.whole()
    assert y == pytest.approx(x * 2.0)


def test_the_usual_flow_is_that_of_both_guns_when_they_often_run() -> None:
    flow = Flow()
    for i in range(100):
        flow.update(100.0 if i % 2 else 50.0, 100.0, 1.0)
    assert flow.usual == pytest.approx(100.0)
    assert flow.runs(50.0)
    assert not flow.runs(2.0)


def test_little_air_at_first_does_not_bring_the_limit_nearer() -> None:
    """The blower starts and the valve is opened; the drop comes to 580 of 600 Pa, no further."""
    flow = [30.0, 48.0, 48.0, 48.0, *[53.0] * 14]
    drop = [*[550.0 * (f / 53.0) ** 1.2 for f in flow[:4]], *np.linspace(550.0, 580.0, 14)]
    rows = enumerate(zip(drop, flow, strict=True))
    updates = followed([Sample(30.0 * i, pa, l_min) for i, (pa, l_min) in rows])
    assert updates
    assert all(u.finding != REACHED for u in updates)
