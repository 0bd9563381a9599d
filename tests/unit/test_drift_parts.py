"""Steady states, cold checks, element, sensor signs, clock and zeros, each on its own."""

import json
from dataclasses import replace

import numpy as np
import pytest

from drift_shop import DAY, START, Q, Shop, Wrong, make_station, run, traces_of
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.diagnosis.ambient_check import AmbientCheck
from steadybead_domain.diagnosis.checks_due import ChecksDue
from steadybead_domain.diagnosis.clock_watch import ClockWatch
from steadybead_domain.diagnosis.drift import ColdPoint
from steadybead_domain.diagnosis.drift_words import over_of
from steadybead_domain.diagnosis.element import ElementWatch
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.diagnosis.gun_columns import GunColumns
from steadybead_domain.diagnosis.gun_state import HOT, OFF, WARMING
from steadybead_domain.diagnosis.sensor_signs import SensorSigns
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.steady import STEADY_LIMITS, SteadySpans, SteadyState
from steadybead_domain.diagnosis.windows import SIZE, WINDOW, Gatherer, Windows
from steadybead_domain.diagnosis.zero_check import ZeroCheck
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, Station
from steadybead_domain.readings import Reason
from steadybead_domain.times import HOUR, MINUTE, SECOND

STATION = make_station()


def windows(nozzle: np.ndarray, flow: np.ndarray, hot: np.ndarray) -> Windows:
    n = len(nozzle) // SIZE
    cut = {"nozzle": nozzle, "flow": flow, "hot": hot}
    columns = {k: v[: n * SIZE].reshape(n, SIZE).astype(float) for k, v in cut.items()}
    return Windows(START * STEP + WINDOW * np.arange(n, dtype=np.int64), columns)


def states(nozzle: np.ndarray, flow: np.ndarray | None = None) -> list[SteadyState]:
    flow = np.full(len(nozzle), 50.0) if flow is None else flow
    return list(SteadySpans().update(windows(nozzle, flow, np.ones(len(nozzle)))))


def test_a_steady_gun_gives_a_state_every_five_minutes_after_soak_and_settling() -> None:
    hour = 7200
    found = states(np.full(hour, 330.0))
    first = STEADY_LIMITS.soak + STEADY_LIMITS.settle
    assert [s.windows for s in found] == [10] * len(found)
    assert len(found) == (hour // SIZE - first) // 10
    assert found[0].start == START * STEP + first * WINDOW
    assert found[0].end - found[0].start == 5 * MINUTE
    assert found[0].means["nozzle"] == pytest.approx(330.0)


def test_a_changing_temperature_is_not_steady() -> None:
    assert states(np.linspace(280.0, 420.0, 7200)) == []


def test_a_gap_ends_a_state_and_its_windows_do_not_count() -> None:
    nozzle = np.full(7200, 330.0)
    nozzle[4000] = np.nan
    found = states(nozzle)
    gap = (START + 4000) * STEP
    assert found
    assert not any(s.start <= gap < s.end for s in found)


def test_a_step_in_flow_begins_another_state() -> None:
    flow = np.full(7200, 50.0)
    flow[4200:] = 44.0
    found = states(np.full(7200, 330.0), flow)
    assert {round(s.means["flow"]) for s in found} == {50, 44}


def test_another_nozzle_begins_another_state() -> None:
    spans = SteadySpans()
    spans.note((START + 4000) * STEP, "round")
    ones = np.ones(7200)
    found = list(spans.update(windows(330.0 * ones, 50.0 * ones, ones)))
    assert {s.nozzle for s in found} == {"", "round"}
    assert all(s.end <= (START + 4000) * STEP for s in found if not s.nozzle)


def cold_points(days: int, wrong: Wrong) -> list[ColdPoint]:
    shop, columns = Shop(3, hours=0.5), GunColumns(STATION, "a")
    gatherer, check = Gatherer(columns.names), AmbientCheck()
    found: list[ColdPoint] = []
    for day in range(days):
        start, made, states_of = shop.shift(day, wrong)
        block = columns.of(traces_of(STATION, made, slice(None)), states_of)
        found += check.update(gatherer.update(start, block))
    return found


def test_each_cold_morning_shows_the_offset_once() -> None:
    found = [p for p in cold_points(4, Wrong(nozzle_offset_c=2.5)) if p.name == "cold_emf"]
    assert len(found) == 3  # of the first morning nobody knows how long the gun was off
    assert [p.value for p in found] == pytest.approx([2.5] * 3, abs=0.2)


def test_the_cold_check_shows_no_gain() -> None:
    found = [p for p in cold_points(4, Wrong(nozzle_c=15.0)) if p.name == "cold_emf"]
    assert [p.value for p in found] == pytest.approx([0.0] * 3, abs=0.2)


def test_flow_with_the_air_off_shows_the_meters_zero() -> None:
    found = [p for p in cold_points(3, Wrong(flow_zero=1.5)) if p.name == "cold_flow"]
    assert [p.value for p in found] == pytest.approx([1.5] * len(found), abs=0.05)
    assert len(found) == 3


def warm_ups(lengths: list[int], ohms: list[float]) -> list[Finding]:
    watch, found = ElementWatch(STATION, "a"), []
    for day, (length, ohm) in enumerate(zip(lengths, ohms, strict=True)):
        n = 100 + length + 100
        state = np.full(n, OFF, np.int8)
        state[100 : 100 + length] = WARMING
        state[100 + length :] = HOT
        made = {c.id.channel: np.full(n, 20.0) for c in STATION.channels}
        full = state == WARMING
        made["gun-a/output"] = np.where(full, 100.0, 45.0)
        made["air/supply"] = np.full(n, 230.0)
        made["gun-a/power"] = np.where(full, 230.0**2 / ohm, 360.0)
        made["gun-a/set"] = np.full(n, 330.0)
        made["gun-a/nozzle"] = np.where(state == HOT, 330.0, 100.0)
        block = traces_of(STATION, made, slice(None))
        found += watch.update(START + day * DAY, block, state)
    return found


def test_a_risen_hot_resistance_is_found() -> None:
    found = warm_ups([120] * 12, [80.0] * 6 + [86.0] * 6)
    assert [f.kind for f in found] == ["element_ageing"]
    assert found[0].value == pytest.approx(100 * np.log(86 / 80), abs=0.1)


def test_a_longer_warm_up_is_found() -> None:
    found = warm_ups([120] * 6 + [180] * 6, [80.0] * 12)
    assert [f.kind for f in found] == ["element_warm_up_slow"]


def test_warm_ups_that_are_as_before_end_the_finding() -> None:
    found = warm_ups([120] * 6 + [180] * 6 + [120] * 12, [80.0] * 24)
    kinds = [f.kind for f in found]
    assert kinds == ["element_warm_up_slow", "element_warm_up_slow_over"]


def test_steady_warm_ups_are_no_finding() -> None:
    rng = np.random.default_rng(4)
    lengths = [round(v) for v in rng.normal(120, 6, 40)]
    assert warm_ups(lengths, rng.normal(80, 0.3, 40).tolist()) == []


def test_full_output_below_the_set_value_is_lost_headroom() -> None:
    watch, n = ElementWatch(STATION, "a"), 600
    made = {c.id.channel: np.full(n, 20.0) for c in STATION.channels}
    made |= {"gun-a/output": np.full(n, 100.0), "gun-a/set": np.full(n, 330.0)}
    made["gun-a/nozzle"] = np.full(n, 318.0)
    hot = np.full(n, HOT, np.int8)
    found = watch.update(START, traces_of(STATION, made, slice(None)), hot)
    assert [f.kind for f in found] == ["element_headroom_lost"]
    assert found[0].time == START * STEP + 60 * SECOND
    made["gun-a/nozzle"] = np.full(n, 329.0)
    calm = ElementWatch(STATION, "a")
    assert calm.update(START, traces_of(STATION, made, slice(None)), hot) == []


def signs(value: np.ndarray, reason: np.ndarray | None = None) -> list[str]:
    n = len(value)
    marks = np.zeros(n, np.uint8) if reason is None else reason
    trace = Trace(value, np.ones(n, bool), np.zeros(n, np.int64), marks)
    return [f.kind for f in SensorSigns(STATION.channels[0]).update(START, trace)]


def test_spikes_are_told_once_they_come_often() -> None:
    value = 330.0 + np.random.default_rng(1).normal(0, 0.5, 3000)
    value[[500, 900, 1300, 1700]] += 120.0
    assert signs(value) == []
    value[2100] -= 120.0
    assert signs(value) == ["sensor_spikes"]


def test_jumps_that_stay_are_an_impossible_rate() -> None:
    value = np.full(3000, 330.0)
    value[1000:2000] = 20.0
    assert signs(value) == ["sensor_impossible_rate"]


def test_a_gun_that_warms_fast_is_no_sign() -> None:
    assert signs(np.concatenate((np.linspace(20, 330, 60), np.full(500, 330.0)))) == []


def test_a_contact_that_comes_and_goes_is_told() -> None:
    reason = np.zeros(3000, np.uint8)
    reason[[100, 900]] = Reason.OPEN_CIRCUIT
    value = np.where(reason > 0, np.nan, 330.0)
    assert signs(value, reason) == []
    reason[1500:1510] = Reason.OPEN_CIRCUIT
    assert signs(np.where(reason > 0, np.nan, 330.0), reason) == ["sensor_intermittent"]


@pytest.mark.parametrize(("lag_s", "kinds"), [(90, 1), (-3, 1), (1, 0), (-1, 0), (59, 0)])
def test_a_clock_that_is_off_is_told_after_two_hours(lag_s: int, kinds: int) -> None:
    watch, found = ClockWatch(StationId("made", "up")), []
    for quarter in range(20):
        received = quarter * HOUR // 4
        late = 200 * SECOND if quarter % 3 else 0  # slow messages between are no offset
        found += watch.note(received, received - lag_s * SECOND - late)
    assert [f.kind for f in found] == ["clock_offset"] * kinds
    if found:
        assert found[0].time == 2 * HOUR
        assert found[0].value == -lag_s


def test_a_corrected_check_counts_once() -> None:
    due = ChecksDue(STATION, "a")
    channel = STATION.channel_of(Q.NOZZLE_TEMPERATURE, "a")
    assert channel is not None
    first = ReferenceCheck("c", channel.id, START, 320.0, 322.0, "", "np", 2.0, "qa", START)
    better = replace(first, reference=318.0, revision=2)
    assert due.note(first)
    assert due.note(better)
    assert not due.note(first)
    assert [p.value for p in due.take(START + HOUR)] == [4.0]
    again = ChecksDue(STATION, "a")
    again.load(json.loads(json.dumps(due.dump())))
    assert not again.note(replace(better, revision=3))
    assert again.take(START + DAY) == []
    assert due.note(replace(first, id="d"))
    assert not due.note(replace(first, id="d", revision=2, withdrawn=True))
    assert due.take(START + DAY) == []


def zeros(drop_pa: float, blower_on: int | None = None) -> list[Finding]:
    """Give what is told of a quarter of an hour with the air off; a blower may run up at a step."""
    places = {
        "air/filter": Q.FILTER_PRESSURE_DROP,
        "air/outlet": Q.OUTLET_PRESSURE,
        "air/motor": Q.MOTOR_CURRENT,
    }
    channels = [
        Channel(ChannelId("made", "up", name), quantity, quantity.facts.unit)
        for name, quantity in places.items()
    ]
    station = Station(StationId("made", "up"), tuple(channels))
    check, n = ZeroCheck(station), 1800
    t = 0.5 * (np.arange(n) - (n if blower_on is None else blower_on))
    speed = 1.0 - np.exp(-np.maximum(t, 0.0) / 2.5)  # of full speed, t in s
    made = {
        "air/filter": drop_pa + 70.0 * speed**2,
        "air/outlet": 9500.0 * speed**2,
        "air/motor": 0.6 * speed**3,
    }
    traces = Traces(
        station,
        {
            k: Trace(v, np.ones(n, bool), np.zeros(n, np.int64), np.zeros(n, np.uint8))
            for k, v in made.items()
        },
        n,
    )
    return check.update(START, traces, {"a": np.full(n, OFF, np.int8)})


def test_a_pressure_sensor_off_zero_is_told() -> None:
    assert zeros(3.0) == []
    found = zeros(-40.0)
    assert [f.kind for f in found] == ["pressure_zero"]
    assert found[0].value == pytest.approx(-40.0)


@pytest.mark.parametrize("lead", range(0, 60, 4))
def test_a_blower_that_runs_up_is_no_zero_that_is_off(lead: int) -> None:
    """Pressure comes before the current: a window that ends in between is not taken."""
    for windows_before in (10, 11, 12):
        assert zeros(0.5, 60 * windows_before - lead) == []


def test_a_new_type_k_is_given_time_to_settle() -> None:
    """Seven hot hours of readings are not learnt from: +3.7 °C are to be expected in them."""
    old, _ = run(STATION, Shop(6), {}, 3)
    new, _ = run(make_station(couple="K"), Shop(6), {}, 3)
    assert old.drift.settled_at == 0
    assert new.drift.settled_at is None
    assert len(old.drift.balance.nozzles[""].shifts) == 2  # the last shift is still open
    assert new.drift.balance.nozzles == {}
    later, _ = run(make_station(couple="K"), Shop(6), {}, 6)
    assert later.drift.settled_at is not None
    assert later.drift.balance.nozzles[""].shifts


def test_the_end_of_a_sag_is_the_stations_like_its_beginning() -> None:
    assert over_of((STATION, "a"), START, "supply_voltage", START).gun is None
    assert over_of((STATION, "a"), START, "thermocouple_drift", START).gun == "a"
