"""The filter of a station: small falls and leaks come out as findings and as alarms."""

import json

import numpy as np

from steadybead_domain.alarms.change import Change
from steadybead_domain.diagnosis.filter_watch import FilterWatch
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import AirSource, Channel, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import HOUR

Q = Quantity
START = 3_600_000
HOUR_STEPS = HOUR // STEP
ZERO_PA = 5.0
DROP = Channel(ChannelId("made", "up", "air/filter"), Q.FILTER_PRESSURE_DROP, "Pa")
FLOW = Channel(ChannelId("made", "up", "gun-a/flow"), Q.AIR_FLOW, "L/min")
STATION = Station(
    StationId("made", "up"), (DROP, FLOW), air=AirSource(intake_filter_limit_pa=250.0)
)


def shift(hours: float, at_50_pa: float, flow: float = 54.0, seed: int = 0) -> list[Float64]:
    n, rng = round(hours * HOUR_STEPS), np.random.default_rng(seed)
    drop = at_50_pa * flow / 50.0 * np.exp(0.01 * np.arange(n) / HOUR_STEPS)
    return [drop + ZERO_PA + rng.normal(0.0, 1.0, n), flow + rng.normal(0.0, 0.3, n)]


def pause(hours: float) -> list[Float64]:
    drop, flow = shift(hours, 0.0)
    return [drop, flow - 54.0]


def watched(*parts: list[Float64]) -> tuple[list[Change], list[Finding]]:
    """Feed the parts hour by hour, saved and loaded between."""
    drop, flow = (np.concatenate([part[i] for part in parts]) for i in (0, 1))
    watch, changed, found = FilterWatch(STATION), list[Change](), list[Finding]()
    for first in range(0, len(drop), HOUR_STEPS):
        cut = slice(first, first + HOUR_STEPS)
        n = len(drop[cut])
        traces = {
            channel.id.channel: Trace(
                value[cut], np.ones(n, bool), np.zeros(n, np.int64), np.zeros(n, np.uint8)
            )
            for channel, value in ((DROP, drop), (FLOW, flow))
        }
        turned, told = watch.update(START + first, Traces(STATION, traces, n))
        changed, found = changed + turned, found + told
        saved = json.loads(json.dumps(watch.dump(), allow_nan=False))
        watch = FilterWatch(STATION)
        watch.load(saved)
    return changed, [f for f in found if f.kind != "filter_forecast"]


def test_a_zero_that_becomes_known_is_no_fall_but_a_tap_is() -> None:
    before = [shift(2.0, 30.0), pause(0.5), shift(2.0, 30.5, seed=1)]
    changed, found = watched(*before)
    assert (changed, found) == ([], [])
    changed, found = watched(*before, shift(2.0, 25.0, seed=2))
    assert [f.kind for f in found] == ["filter_fell"]
    assert 0 < found[0].time - START * STEP - 4.5 * HOUR <= 0.6 * HOUR
    assert [c.kind for c in changed if c.active] == ["filter_fell"]


def test_a_leak_behind_the_filter_is_told_and_its_end_is_no_fall() -> None:
    leak = shift(1.0, 51.0, flow=51.0, seed=3)
    changed, found = watched(shift(4.0, 30.0), leak, shift(2.0, 31.0, seed=4))
    assert [f.kind for f in found] == ["air_leak"]
    assert [c.kind for c in changed if c.active] == ["air_leak"]
    assert [c.kind for c in changed if not c.active] == ["air_leak"]


def test_a_blockage_without_a_loss_of_flow_stays_one() -> None:
    _, found = watched(shift(4.0, 30.0), shift(1.0, 60.0, flow=53.8, seed=5))
    assert [f.kind for f in found] == ["filter_blocked"]
