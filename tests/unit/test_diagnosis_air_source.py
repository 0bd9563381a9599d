"""Supply, outlet tube, still sensors, small falls and leaks: what each tells, and when not."""

import json
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest

from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.diagnosis.filter import FELL, ROSE, FilterUpdate
from steadybead_domain.diagnosis.filter_leak import LEAK, LeakSign
from steadybead_domain.diagnosis.filter_steps import GROUP, FilterSteps
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.flow_alike import FlowAlike
from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.diagnosis.gun_state import HOT, OFF
from steadybead_domain.diagnosis.outlet_tube import OutletTube
from steadybead_domain.diagnosis.sensor_health import StuckSensor
from steadybead_domain.diagnosis.sensor_still import StillSensors
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.standing import Urgency, subject_of, urgency_of
from steadybead_domain.diagnosis.supply_watch import SupplyWatch
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import HOUR, MINUTE

Q = Quantity
START = 3_600_000
HOUR_STEPS = HOUR // STEP
Columns = Mapping[tuple[str, Quantity], Float64]
Kind = Callable[[Station], Any]


def station_of(columns: Columns) -> Station:
    channels = [
        Channel(ChannelId("made", "up", name), quantity, quantity.facts.unit)
        for name, quantity in columns
    ]
    return Station(StationId("made", "up"), tuple(channels))


def fed(kind: Kind, columns: Columns, cuts: int = 1) -> list[Finding]:
    """Feed all columns in so many blocks, saved and loaded between them."""
    station = station_of(columns)
    detector, found = kind(station), []
    n = len(next(iter(columns.values())))
    edges = np.linspace(0, n, cuts + 1).astype(int)
    for first, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        m = end - first
        made = {
            name: Trace(
                v[first:end], np.ones(m, bool), np.zeros(m, np.int64), np.zeros(m, np.uint8)
            )
            for (name, _), v in columns.items()
        }
        found += detector.update(START + first, Traces(station, made, m), *states(kind, m))
        saved = json.loads(json.dumps(detector.dump(), allow_nan=False))
        detector = kind(station)
        detector.load(saved)
    return found


def states(kind: Kind, n: int) -> list[dict[str, Any]]:
    return [{"a": np.full(n, HOT, np.int8)}] if kind is StillSensors else []


def supply(lost_v: float, hours: float, rng: np.random.Generator) -> Columns:
    n = 12 * HOUR_STEPS
    t = np.arange(n) / HOUR_STEPS
    volts = 231.0 + 1.5 * np.sin(t / 3.0) + rng.normal(0.0, 0.3, n)
    volts[(t >= 7.0) & (t < 7.0 + hours)] -= lost_v
    return {("air/supply", Q.SUPPLY_VOLTAGE): volts}


def test_a_sag_of_an_hour_is_told_in_minutes_and_its_end_too() -> None:
    found = fed(SupplyWatch, supply(15.0, 1.0, np.random.default_rng(1)))
    assert [f.kind for f in found] == ["supply_voltage", "supply_voltage_over"]
    assert (found[0].time - START * STEP) / HOUR - 7.0 == pytest.approx(11 / 60, abs=5 / 60)
    assert abs(found[0].since - START * STEP - 7 * HOUR) <= 5 * MINUTE
    assert found[0].value == pytest.approx(216.0, abs=3.0)
    assert subject_of(found[0]) == subject_of(found[1])


def test_the_ups_and_downs_of_a_day_and_a_dead_reading_are_no_sag() -> None:
    rng = np.random.default_rng(2)
    assert fed(SupplyWatch, supply(0.0, 1.0, rng)) == []
    assert fed(SupplyWatch, supply(6.0, 1.0, rng)) == []
    assert fed(SupplyWatch, supply(230.0, 1.0, rng)) == []


def test_a_new_level_that_stays_becomes_the_usual_one() -> None:
    rng = np.random.default_rng(3)
    n = 60 * HOUR_STEPS
    volts = np.where(np.arange(n) < 8 * HOUR_STEPS, 231.0, 219.0) + rng.normal(0.0, 0.3, n)
    found = fed(SupplyWatch, {("air/supply", Q.SUPPLY_VOLTAGE): volts})
    assert [f.kind for f in found] == ["supply_voltage", "supply_voltage_over"]


def outlet(gone: bool) -> Columns:
    n = 2 * HOUR_STEPS
    rng = np.random.default_rng(4)
    pressure = 7500.0 + rng.normal(0.0, 20.0, n)
    pressure[HOUR_STEPS:] *= 0.02 if gone else 0.8
    flow = np.full(n, 50.0)
    return {("air/outlet", Q.OUTLET_PRESSURE): pressure, ("gun-a/flow", Q.AIR_FLOW): flow}


def test_no_pressure_while_the_guns_blow_is_a_tube_that_is_off() -> None:
    found = fed(OutletTube, outlet(gone=True))
    assert [f.kind for f in found] == ["pressure_lost"]
    assert 0 < found[0].time - START * STEP - HOUR <= 8 * MINUTE
    assert fed(OutletTube, outlet(gone=False)) == []


def still(stuck: bool, moves: float = 0.05) -> Columns:
    n = 6 * HOUR_STEPS
    rng = np.random.default_rng(5)
    value = np.round(28.0 + np.repeat(rng.normal(0.0, moves, n // 2), 2), 1)
    if stuck:
        value[5 * HOUR_STEPS :] = value[5 * HOUR_STEPS]
    return {("gun-a/inlet", Q.GUN_INLET_TEMPERATURE): value}


def test_a_value_that_stopped_moving_is_told_beside_what_it_did_before() -> None:
    found = fed(StillSensors, still(stuck=True))
    assert [f.kind for f in found] == ["sensor_stuck"]
    assert found[0].channel == ChannelId("made", "up", "gun-a/inlet")
    assert found[0].gun == "a"
    assert 9 * MINUTE < found[0].time - START * STEP - 5 * HOUR <= 12 * MINUTE
    assert fed(StillSensors, still(stuck=False)) == []
    assert fed(StillSensors, still(stuck=True, moves=0.0)) == []  # it never moved


def test_a_pressure_that_stands_near_nothing_is_no_frozen_sensor() -> None:
    n, rng = 6 * HOUR_STEPS, np.random.default_rng(10)
    pressure = np.round(70.0 + rng.normal(0.0, 1.0, n))
    for end_pa, told in ((2.0, []), (pressure[5 * HOUR_STEPS], ["sensor_stuck"])):
        pressure[5 * HOUR_STEPS :] = end_pa
        found = fed(StillSensors, {("gun-a/drop", Q.FILTER_PRESSURE_DROP): pressure})
        assert [f.kind for f in found] == told
        pressure[5 * HOUR_STEPS] = 70.0


@pytest.mark.parametrize(
    ("kind", "columns"),
    [
        (SupplyWatch, supply(15.0, 1.0, np.random.default_rng(6))),
        (OutletTube, outlet(gone=True)),
        (StillSensors, still(stuck=True)),
    ],
)
@pytest.mark.parametrize("cuts", [2, 7, 60, 411])
def test_the_cuts_do_not_matter(kind: Kind, columns: Columns, cuts: int) -> None:
    whole = fed(kind, columns)
    assert whole
    assert fed(kind, columns, cuts) == whole


def falls(share: float, sigma: float = 0.01, seed: int = 7) -> list[int]:
    """Give the windows at which a fall is told; it comes at window 1000, two flows by turns."""
    rng = np.random.default_rng(seed)
    steps, told = FilterSteps(), []
    for i in range(2000):
        flow = 55.0 if i // 150 % 2 else 108.0
        drop = 0.7 * flow * np.exp(4e-5 * i + rng.normal(0.0, sigma))
        if i >= 1000:
            drop *= 1.0 - share
        if steps.update(float(drop), flow * float(np.exp(rng.normal(0.0, sigma))), 1.2) is not None:
            told.append(i)
        saved = json.loads(json.dumps(steps.dump()))
        steps = FilterSteps()
        steps.load(saved)
    return told


def test_a_small_fall_at_like_flow_is_told_once() -> None:
    told = falls(0.12)
    assert len(told) == 1
    assert 1000 <= told[0] - 2 * GROUP + 1 <= 1000 + 2 * GROUP
    assert falls(0.0) == falls(0.04) == []


def test_a_noisy_drop_needs_a_larger_fall() -> None:
    assert falls(0.0, sigma=0.15) == []


def leak(drop_to: float, flow_to: float) -> str | None:
    sign = LeakSign()
    for i in range(80):
        sign.update(70.0 if i < 58 else drop_to, 54.0 if i < 58 else flow_to)
    told = FilterUpdate(0.0, drop_to, None, None, None, None, ROSE)
    return sign.named(told, anew=True).finding


def test_a_drop_that_rises_while_the_guns_lose_air_is_a_leak() -> None:
    assert leak(100.0, 50.5) == LEAK
    assert leak(100.0, 53.7) == ROSE
    assert leak(800.0, 50.5) == ROSE  # a blockage of 700 Pa takes as much


def test_the_end_of_a_leak_is_no_work_on_the_filter() -> None:
    sign = LeakSign()
    for i in range(200):
        leaks = 60 <= i < 130
        sign.update(100.0 if leaks else 70.0, 50.0 if leaks else 54.0)
        if i == 81:
            said = FilterUpdate(0.0, 100.0, None, None, None, None, ROSE)
            assert sign.named(said, anew=True).finding == LEAK
            assert sign.named(said, anew=False).finding == LEAK
        if i == 151:
            said = FilterUpdate(0.0, 70.0, None, None, None, None, FELL)
            assert sign.named(said, anew=True).finding is None
    fell = FilterUpdate(0.0, 30.0, None, None, None, None, FELL)
    assert sign.named(fell, anew=True).finding == FELL


def test_a_leak_is_urgent() -> None:
    station = StationId("made", "up")
    told = Finding("air_leak", station, None, None, 1, 1, "", "", sureness="likely")  # type: ignore[arg-type]
    assert urgency_of(told) is Urgency.NOW
    assert subject_of(told) == f"{station}/filter"


@pytest.mark.parametrize("frozen", [True, False])
def test_a_frozen_thermocouple_voltage_is_seen_behind_its_cold_junction(frozen: bool) -> None:
    channel = Channel(
        ChannelId("made", "up", "gun-a/nozzle"),
        Q.NOZZLE_TEMPERATURE,
        "mV",
        Thermocouple("K", "gun-a/terminal"),
    )
    n, rng = HOUR_STEPS, np.random.default_rng(8)
    junction = np.round(30.0 + np.linspace(0.0, 4.0, n) + rng.normal(0.0, 0.01, n), 2)
    value = 320.0 + 0.97 * junction + (0.0 if frozen else rng.normal(0.0, 0.2, n))
    sensor = StuckSensor(channel)
    end = (START + np.arange(n) + 1) * STEP
    changed = list(sensor.update(end, value, np.full(n, HOT, np.int8), junction))
    assert [c.kind for c in changed] == ["sensor_stuck"] * frozen


def test_a_second_gun_is_no_loss_of_flow() -> None:
    alike = FlowAlike()
    alone, shared = [(0, 400.0)] * 6, [(1, 392.0)] * 6
    assert alike.figure(alone * 2) == 400.0
    assert alike.figure(shared) is None  # nothing is known yet of what a second gun takes
    assert alike.figure(alone + shared) == alike.figure(alone + shared) == 400.0
    assert alike.figure(shared) == pytest.approx(400.0)
    assert alike.figure([(1, 380.0)] * 6) == pytest.approx(388.0)
    again = FlowAlike()
    again.load(json.loads(json.dumps(alike.dump())))
    assert again.figure(shared) == alike.figure(shared)


def test_another_usual_number_of_guns_is_learnt_anew() -> None:
    alike = FlowAlike()
    assert alike.figure([(0, 400.0)] * 6) == 400.0
    for shift in range(5):
        assert alike.lost is False, shift
        assert alike.figure([(1, 392.0)] * 6) is None
    assert alike.lost


def test_a_reading_that_is_lost_within_a_window_spoils_nothing() -> None:
    value = np.array(still(stuck=True)["gun-a/inlet", Q.GUN_INLET_TEMPERATURE])
    value[1000:1040] = np.nan
    for quantity in (Q.GUN_INLET_TEMPERATURE, Q.FILTER_PRESSURE_DROP):
        found = fed(StillSensors, {("gun-a/inlet", quantity): value}, cuts=5)
        assert [f.kind for f in found] == ["sensor_stuck"]


def test_a_cold_gun_beside_a_hot_one_stands_still_in_good_health() -> None:
    n, rng = 6 * HOUR_STEPS, np.random.default_rng(9)
    power = np.round(rng.normal(600.0, 20.0, n))
    power[5 * HOUR_STEPS :] = 0.0
    columns = {("gun-b/power", Q.HEATER_POWER): power, ("gun-a/power", Q.HEATER_POWER): power}
    station = station_of(columns)
    traces = {
        name: Trace(v, np.ones(n, bool), np.zeros(n, np.int64), np.zeros(n, np.uint8))
        for (name, _), v in columns.items()
    }
    b = np.full(n, HOT, np.int8)
    b[5 * HOUR_STEPS :] = OFF
    states = {"a": np.full(n, HOT, np.int8), "b": b}
    found = StillSensors(station).update(START, Traces(station, traces, n), states)
    assert [f.gun for f in found] == ["a"]
