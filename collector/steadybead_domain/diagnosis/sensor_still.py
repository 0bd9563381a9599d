"""A channel whose value has stopped moving, against how long it stayed the same before."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.finding import OVER, Finding, Sureness
from steadybead_domain.diagnosis.gun_state import HOT, READY, WELDING, States
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.windows import SIZE, WINDOW, Gatherer, Windows
from steadybead_domain.plant import Channel, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import HOUR, MINUTE, SECOND

_Q = Quantity
FOLLOWED = frozenset(
    {
        _Q.CONTROLLER_TEMPERATURE,
        _Q.TERMINAL_TEMPERATURE,
        _Q.GUN_INLET_TEMPERATURE,
        _Q.HEATER_POWER,
        _Q.HEATER_CURRENT,
        _Q.FILTER_PRESSURE_DROP,
        _Q.OUTLET_PRESSURE,
        _Q.INTAKE_TEMPERATURE,
        _Q.INTAKE_HUMIDITY,
        _Q.AMBIENT_PRESSURE,
        _Q.SUPPLY_VOLTAGE,
        _Q.MOTOR_CURRENT,
    }
)
LEARN = 4 * HOUR // WINDOW
LEAST_MOVES = 60  # windows: half an hour
LEAST = 10 * MINUTE // WINDOW
PRESSURES = frozenset({_Q.FILTER_PRESSURE_DROP, _Q.OUTLET_PRESSURE})
GONE, FORGET = 0.3, 0.2  # of the usual level; weight of a new window in it
TIMES = 6  # so many times the longest standstill before
TO_DO = (
    "Compare with another instrument; look whether the logger repeats its last value; restart or"
    " change the sensor and record the change."
)


@dataclass(slots=True)
class Still:
    """One channel in windows: what it stood at, for how long, the longest before; how it moved."""

    value: float = float("nan")
    windows: int = 0
    longest: int = 0
    seen: int = 0
    moves: int = 0
    level: float | None = None
    told: int | None = None

    def limit(self, silence_s: float) -> int:
        """Give how many windows without any move are too many."""
        silent = -int(-2 * silence_s * SECOND // WINDOW)
        return max(LEAST, TIMES * self.longest, silent)


class StillSensors:
    """Sees every channel that moves by itself while its gun (or any) is hot, in windows of 30 s.

    Tells a value that has not changed by one bit for ten minutes and six times the longest
    standstill seen before; learns that in its first four hot hours and goes on learning. Nozzle
    and flow are judged by `StuckSensor`. Not detectable: a channel that moves too rarely to be
    missed, and one that is stuck while its gun is cold. A pressure that stands near nothing has
    lost its tube, which `OutletTube` and the filter's signs tell.
    """

    def __init__(self, station: Station) -> None:
        self.station = station
        self.channels: dict[str, Channel] = {
            c.id.channel: c for c in station.channels if c.quantity in FOLLOWED
        }
        self.still = {name: Still() for name in self.channels}
        self.guns = station.guns
        self.gatherer = Gatherer((*self.channels, "hot", *(f"hot {gun}" for gun in self.guns)))

    def update(self, start: int, traces: Traces, states: Mapping[str, States]) -> list[Finding]:
        """Give the findings that the steps start, start+1, … allow; `states` of every gun."""
        if not self.channels or not states:
            return []
        columns = {name: traces.by_channel[name].value for name in self.channels}
        windows = self.gatherer.update(start, columns | self._hot(states))
        found: list[Finding] = []
        for name in self.channels if len(windows) else ():
            found += self._follow(name, windows)
        return found

    def _hot(self, states: Mapping[str, States]) -> dict[str, Float64]:
        """Give when each gun is hot, and when any is; a gun of no state is not."""
        cold = np.zeros(len(next(iter(states.values()))), np.bool_)
        hot = {gun: (s == HOT) | (s == READY) | (s == WELDING) for gun, s in states.items()}
        columns = {"hot": np.logical_or.reduce(list(hot.values())).astype(np.float64)}
        own = {f"hot {gun}": hot.get(gun, cold).astype(np.float64) for gun in self.guns}
        return columns | own

    def _follow(self, name: str, windows: Windows) -> Iterator[Finding]:
        column, still = windows.columns[name], self.still[name]
        means, gun = windows.mean(name), self.channels[name].gun
        hot = windows.mean("hot" if gun is None else f"hot {gun}") == 1.0
        stands = hot & np.all(column == column[:, :1], axis=1)
        known = hot & np.isfinite(means)
        if not stands.any() and not still.windows and still.told is None:
            self._moved(name, means[known])
            still.value = float(column[-1, SIZE - 1])
            return
        for i in range(len(windows)):
            value = float(column[i, 0])
            goes_on = bool(stands[i]) and (value == still.value or not still.windows)
            if known[i] and not goes_on:
                self._moved(name, means[i : i + 1])
            still.seen += goes_on
            yield from self._count(name, int(windows.start[i]) + WINDOW, value, goes_on=goes_on)
            still.value = float(column[i, SIZE - 1])

    def _moved(self, name: str, means: Float64) -> None:
        """Take windows in which the channel moved."""
        still = self.still[name]
        still.seen += len(means)
        still.moves += len(means)
        for mean in means.tolist() if self.channels[name].quantity in PRESSURES else ():
            self._level(name, mean)

    def _level(self, name: str, mean: float) -> None:
        still = self.still[name]
        still.level = mean if still.level is None else still.level + FORGET * (mean - still.level)

    def _is_gone(self, name: str, value: float) -> bool:
        level = self.still[name].level
        is_pressure = self.channels[name].quantity in PRESSURES
        return is_pressure and level is not None and abs(value) < GONE * abs(level)

    def _count(self, name: str, time: int, value: float, *, goes_on: bool) -> Iterator[Finding]:
        still = self.still[name]
        if not goes_on:
            if still.told is None:
                still.longest = max(still.longest, still.windows)
            elif not np.isnan(value) and value != still.value:
                yield self._finding(name, time, value, over=True)
                still.told = None
            still.windows = 0
            return
        still.windows += 1
        limit = still.limit(self.channels[name].silence_s)
        learnt = still.seen >= LEARN and still.moves >= LEAST_MOVES
        learnt &= not self._is_gone(name, value)
        if learnt and still.told is None and still.windows >= limit:
            still.told = time
            yield self._finding(name, time, value)

    def _finding(self, name: str, time: int, value: float, *, over: bool = False) -> Finding:
        channel, still = self.channels[name], self.still[name]
        minutes = still.windows * WINDOW / MINUTE
        longest = (still.longest + 1) * WINDOW / MINUTE
        words = (
            f"{name}: exactly {value:g} {channel.unit} for {minutes:.0f} min while a gun was hot;"
            f" before, it always moved within {longest:.1f} min."
        )
        return Finding(
            "sensor_stuck" + OVER * over,
            channel.id.station_id,
            channel.gun,
            channel.id,
            time,
            time if over else time - still.windows * WINDOW,
            f"{name}: moves again." if over else words,
            "Nothing." if over else TO_DO,
            Sureness.LIKELY,
            minutes,
            longest,
            None,
            still.limit(channel.silence_s) * WINDOW / MINUTE,
            "min",
        )

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        rows = {
            name: [
                None if np.isnan(s.value) else s.value,
                s.windows,
                s.longest,
                s.seen,
                s.moves,
                s.level,
                s.told,
            ]
            for name, s in self.still.items()
        }
        return {"still": rows, "gatherer": self.gatherer.dump()}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave, as far as the channels are still there."""
        for name in self.still.keys() & data["still"].keys():
            value, *rest = data["still"][name]
            self.still[name] = Still(float("nan") if value is None else float(value), *rest)
        self.gatherer.load(data["gatherer"])
