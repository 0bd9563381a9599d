"""What the slow checks cost: a month of one station, 18 channels, 22 shifts of 9 hours."""

import time

import numpy as np
import pytest

from drift_shop import DAY, START, Q
from steadybead_domain.diagnosis.grid import Trace
from steadybead_domain.diagnosis.gun_health import GunHealth
from steadybead_domain.diagnosis.gun_state import HOT, OFF, States
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.station_checks import StationChecks
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, Station

LEVELS = {
    Q.NOZZLE_TEMPERATURE: 325.0,
    Q.AIR_FLOW: 50.0,
    Q.HEATER_POWER: 400.0,
    Q.HEATER_OUTPUT: 50.0,
    Q.GUN_INLET_TEMPERATURE: 34.0,
    Q.TERMINAL_TEMPERATURE: 24.0,
}
AIR = {
    Q.SUPPLY_VOLTAGE: 230.0,
    Q.MOTOR_CURRENT: 2.0,
    Q.FILTER_PRESSURE_DROP: 80.0,
    Q.OUTLET_PRESSURE: 9000.0,
    Q.INTAKE_TEMPERATURE: 20.0,
    Q.AMBIENT_PRESSURE: 100_000.0,
}
HOUR = 7200
LIMIT_S = 20.0  # for all detectors together


def full_station() -> Station:
    def channel(name: str, quantity: Q) -> Channel:
        return Channel(ChannelId("made", "up", name), quantity, quantity.facts.unit)

    guns = [channel(f"gun-{g}/{q.value}", q) for g in "ab" for q in LEVELS]
    return Station(StationId("made", "up"), (*guns, *(channel(f"air/{q.value}", q) for q in AIR)))


def block(station: Station, rng: np.random.Generator, states: States) -> Traces:
    n, made = len(states), {}
    for channel in station.channels:
        level = (LEVELS | AIR)[channel.quantity]
        value = level * (1 + 0.001 * rng.standard_normal(n))
        blank = np.zeros(n, np.uint8)
        made[channel.id.channel] = Trace(value, rng.random(n) < 0.5, np.zeros(n, np.int64), blank)
    return Traces(station, made, n)


@pytest.mark.slow
def test_a_month_of_one_station_leaves_most_of_the_time_to_others() -> None:
    station, rng = full_station(), np.random.default_rng(1)
    assert len(station.channels) == 18
    guns = {gun: GunHealth(station, gun) for gun in station.guns}
    rest, spent = StationChecks(station), 0.0
    for shift in range(22):
        for hour in range(9):
            states = np.full(HOUR, HOT if 1 <= hour < 8 else OFF, np.int8)
            traces = block(station, rng, states)
            start = START + shift * DAY + hour * HOUR
            begun = time.process_time()
            for health in guns.values():
                health.update(start, traces, states)
            rest.update(start, traces, dict.fromkeys(guns, states))
            spent += time.process_time() - begun
    print(f"slow checks, a station-month: {spent:.2f} s of one core")  # noqa: T201
    assert guns["a"].drift.features["balance"].ready
    assert spent < LIMIT_S / 2
