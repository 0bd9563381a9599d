"""The slow checks give the same findings however the steps are cut, saved or passed over."""

import json
from functools import cache
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from drift_shop import FULL, Q, Shop, Wrong, check, make_station, traces_of
from steadybead_domain.diagnosis.clock_watch import ClockWatch
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.diagnosis.gun_health import GunHealth
from steadybead_domain.diagnosis.gun_state import NO_DATA, States
from steadybead_domain.diagnosis.sensor_signs import SensorSigns
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.station_checks import StationChecks
from steadybead_domain.diagnosis.windows import Gatherer
from steadybead_domain.ids import StationId
from steadybead_domain.readings import Reason
from steadybead_domain.times import HOUR, SECOND

STATION = make_station()
SHIFTS = 9
Day = tuple[int, dict[str, np.ndarray], np.ndarray]


@cache
def days() -> list[Day]:
    """Short shifts with drift, gaps, spikes and a broken wire; each starts off a window's edge."""
    shop = Shop(5, hours=0.9)
    made = []
    for day in range(SHIFTS):
        wrong = Wrong(nozzle_offset_c=7.0) if day >= 6 else Wrong()
        start, columns, states = shop.shift(day, wrong)
        columns["gun-a/power"][8000:8100] = np.nan
        columns["gun-a/nozzle"][6000:6003] = np.nan
        columns["gun-a/nozzle"][[5000, 5200, 5400, 5600, 5800]] += 90.0
        made.append((start + 17 * day, columns, states))
    return made


class Slow:
    """All slow checks of the station, as its diagnosis calls them."""

    def __init__(self) -> None:
        self.gun = GunHealth(STATION, "a")
        self.rest = StationChecks(STATION)

    def update(self, start: int, traces: Traces, states: States) -> list[Finding]:
        found = self.gun.update(start, traces, states)
        return found + self.rest.update(start, traces, {"a": states})

    def reloaded(self) -> "Slow":
        again = Slow()
        again.gun.load(json.loads(json.dumps(self.gun.dump())))
        again.rest.load(json.loads(json.dumps(self.rest.dump())))
        return again


def told(cuts: list[int], *, reload_at: int | None, fill: bool) -> list[Finding]:
    slow, found, before = Slow(), [], None
    for number, (start, columns, states) in enumerate(days()):
        n = len(states)
        if number < 6:
            at = (start + 9000) * STEP
            slow.gun.note(check(STATION, Q.NOZZLE_TEMPERATURE, at, 330.0, 330.0 + 0.1 * number))
        if fill and before is not None:
            found += silence(slow, before, start - before)
        edges = sorted({0, n, *(c % n for c in cuts)})
        for first, end in pairwise(edges):
            cut = slice(first, end)
            found += slow.update(start + first, traces_of(STATION, columns, cut), states[cut])
        before = start + n
        if number == reload_at:
            slow = slow.reloaded()
    return sorted(found, key=lambda f: (f.time, f.kind))


def silence(slow: Slow, start: int, n: int) -> list[Finding]:
    blank = {name: np.full(n, np.nan) for name in FULL}
    made = {
        name: Trace(v, np.zeros(n, bool), np.zeros(n, np.int64), np.zeros(n, np.uint8))
        for name, v in blank.items()
    }
    return slow.update(start, Traces(STATION, made, n), np.full(n, NO_DATA, np.int8))


@cache
def whole() -> list[Finding]:
    return told([], reload_at=None, fill=False)


def test_there_is_something_to_find() -> None:
    assert {"thermocouple_drift", "sensor_spikes"} <= {f.kind for f in whole()}


@settings(max_examples=12, deadline=None)
@given(
    cuts=st.lists(st.integers(0, 20_000), max_size=40),
    reload_at=st.none() | st.integers(0, SHIFTS - 1),
    fill=st.booleans(),
)
def test_findings_do_not_depend_on_the_cuts(
    cuts: list[int], reload_at: int | None, fill: bool
) -> None:
    assert told(cuts, reload_at=reload_at, fill=fill) == whole()


def test_single_steps_give_the_same_windows() -> None:
    rng = np.random.default_rng(1)
    column = rng.normal(size=400)
    together = Gatherer(("x",)).update(25, {"x": column})
    single = Gatherer(("x",))
    parts = [single.update(25 + i, {"x": column[i : i + 1]}) for i in range(len(column))]
    means = np.concatenate([p.mean("x") for p in parts])
    assert np.array_equal(means, together.mean("x"), equal_nan=True)
    assert np.concatenate([p.start for p in parts]).tolist() == together.start.tolist()
    assert np.isnan(means[0])


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.lists(st.integers(1, 299), max_size=20))
def test_sensor_signs_do_not_depend_on_the_cuts(seed: int, places: list[int]) -> None:
    channel, n = STATION.channels[0], 300
    rng = np.random.default_rng(seed)
    columns = (
        rng.choice([300.0, 301.0, 400.0, 20.0], n, p=[0.5, 0.4, 0.06, 0.04]),
        rng.random(n) < 0.7,
        rng.choice([0, int(Reason.OPEN_CIRCUIT)], n, p=[0.9, 0.1]).astype(np.uint8),
    )
    cuts = sorted({0, n, *places})

    def run(edges: list[int]) -> list[Finding]:
        signs, found = SensorSigns(channel), []
        for first, end in pairwise(edges):
            v, f, r = (c[first:end] for c in columns)
            found += signs.update(1000 + first, Trace(v, f, np.zeros(end - first, np.int64), r))
            signs.load(json.loads(json.dumps(signs.dump())))
        return sorted(found, key=lambda x: (x.time, x.kind))

    assert run(cuts) == run([0, n])


@given(st.lists(st.integers(-10, 300), min_size=1, max_size=80), st.integers(0, 79))
def test_the_clock_watch_goes_on_after_a_restart(lags: list[int], at: int) -> None:
    def run(reload_at: int | None) -> list[Finding]:
        watch, found = ClockWatch(StationId("made", "up")), []
        for i, lag in enumerate(lags):
            received = i * HOUR // 4
            found += watch.note(received, received - lag * SECOND)
            if i == reload_at:
                saved = json.loads(json.dumps(watch.dump()))
                watch = ClockWatch(StationId("made", "up"))
                watch.load(saved)
        return found

    assert run(at) == run(None)
