"""What the diagnosis costs: a month of one station again, and a second of a live shop."""

import time
from typing import Any

import numpy as np

from shop_language import MIDNIGHT, PROCEDURES, columns, made_station
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Float64, Int64
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND

Q = Quantity
GUN = {
    "nozzle": Q.NOZZLE_TEMPERATURE,
    "flow": Q.AIR_FLOW,
    "output": Q.HEATER_OUTPUT,
    "power": Q.HEATER_POWER,
    "inlet": Q.GUN_INLET_TEMPERATURE,
    "set": Q.SET_TEMPERATURE,
    "terminal": Q.TERMINAL_TEMPERATURE,
}
AIR = {
    "filter": Q.FILTER_PRESSURE_DROP,
    "outlet": Q.OUTLET_PRESSURE,
    "intake": Q.INTAKE_TEMPERATURE,
    "supply": Q.SUPPLY_VOLTAGE,
}
LEVELS = {
    Q.HEATER_OUTPUT: 45.0,
    Q.HEATER_POWER: 420.0,
    Q.GUN_INLET_TEMPERATURE: 32.0,
    Q.SET_TEMPERATURE: 320.0,
    Q.TERMINAL_TEMPERATURE: 40.0,
    Q.OUTLET_PRESSURE: 8500.0,
    Q.INTAKE_TEMPERATURE: 20.0,
    Q.SUPPLY_VOLTAGE: 230.0,
}


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; `short` takes three days instead of a month. Goals are figures, None: none set."""
    return [*again(3 if short else 22), *live(60 if short else 600)]


def again(days: int) -> list[dict[str, Any]]:
    """Re-analyse working days of nine hours at 1 Hz, 18 channels."""
    station = made_station("bay-1", "ab", GUN, AIR)
    diagnosis = StationDiagnosis(station, PROCEDURES)
    cost_s, count = 0.0, 0
    for day in range(days):
        begin = MIDNIGHT + 7 * HOUR + day * DAY
        readings = day_of(station, begin, 9 * HOUR, day)
        begun = time.process_time()
        diagnosis.push(readings)
        diagnosis.advance(begin + 10 * HOUR)
        cost_s += time.process_time() - begun
        count += sum(len(c) for c in readings.values())
    month_s = cost_s * 22 / days
    size = len(diagnosis.dump())
    return [
        figure("diagnosis: a month of one station, 18 channels at 1 Hz", month_s, "s CPU", 20.0),
        figure("diagnosis: one reading, re-analysed", 1e9 * cost_s / count, "ns", None),
        figure("diagnosis: memory of one station, saved", size / 1024, "KiB", None),
    ]


def live(seconds: int) -> list[dict[str, Any]]:
    """Advance once a second with 400 channels (22 stations) at 1 Hz."""
    station = made_station("bay-1", "ab", GUN, AIR)
    diagnosis = StationDiagnosis(station, PROCEDURES)
    readings = day_of(station, MIDNIGHT, seconds * SECOND + MINUTE, 1)
    begun = time.process_time()
    for now in range(MIDNIGHT, MIDNIGHT + seconds * SECOND, SECOND):
        diagnosis.push({c: _between(v, now, now + SECOND) for c, v in readings.items()})
        diagnosis.advance(now + SECOND)
    each_s = (time.process_time() - begun) / seconds
    share = 100 * each_s * 400 / len(station.channels)
    return [
        figure("diagnosis: 400 channels live at 1 Hz, of one core", share, "%", None),
        figure("diagnosis: one reading, live", 1e6 * each_s / len(station.channels), "µs", None),
    ]


def day_of(station: Station, begin: int, length: int, seed: int) -> dict[ChannelId, Columns]:
    """Make readings of a stretch of work: air, heat up, hold, heat off."""
    time_us = begin + np.arange(length // SECOND) * SECOND
    draw = np.random.default_rng(seed)
    return {c.id: columns(time_us, _values(c.quantity, time_us, draw)) for c in station.channels}


def _values(quantity: Quantity, time_us: Int64, draw: np.random.Generator) -> Float64:
    n = len(time_us)
    second = np.arange(n)
    hot = (second > 60) & (second < n - 900)
    noise = draw.standard_normal(n)
    if quantity is Q.NOZZLE_TEMPERATURE:
        up = 320.0 - 298.0 * np.exp(-np.maximum(second - 60, 0) / 40.0)
        down = 22.0 + 298.0 * np.exp(-np.maximum(second - (n - 900), 0) / 40.0)
        return np.asarray(np.where(hot, up, np.where(second <= 60, 22.0, down)) + 0.5 * noise)
    if quantity is Q.AIR_FLOW:
        return np.asarray(np.where(second > 30, 50.0, 0.0) + 0.3 * noise)
    if quantity is Q.FILTER_PRESSURE_DROP:
        return np.asarray(80.0 + noise)
    level = LEVELS[quantity]
    on = hot if quantity in {Q.HEATER_OUTPUT, Q.HEATER_POWER} else np.ones(n, bool)
    return np.asarray(level * on + 0.002 * level * noise)


def _between(rows: Columns, start: int, end: int) -> Columns:
    first, last = np.searchsorted(rows.time, (start, end), "left").tolist()
    return rows.take(slice(first, last))


def figure(name: str, value: float, unit: str, goal: float | None) -> dict[str, Any]:
    """Make one line of the report; `goal` is the largest value that is meant."""
    met = None if goal is None else value <= goal
    return {"name": name, "value": value, "unit": unit, "goal": goal, "met": met}
