"""What a gun is doing: off, warming, ready, hot (use unknown), welding, cooling or no data.

A small automaton over signs in columns. It looks only where a sign changes, so its cost goes with
the changes, not with the readings. Temperature and flow cannot tell *ready* from *welding*: that
takes a weld record, a stand contact or a motion channel; without any of them a gun is *hot*.
"""

from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from steadybead_domain.diagnosis.grid import steps_of
from steadybead_domain.diagnosis.limits import GUN_LIMITS, GunLimits
from steadybead_domain.diagnosis.signals import HEAT_OFF, HEAT_ON, GunSignals
from steadybead_domain.diagnosis.steps import Bool, Delay, Memory, changes, run_length
from steadybead_domain.live import GunState
from steadybead_domain.readings import Float64

STATES = (
    GunState.OFF,
    GunState.WARMING,
    GunState.READY,
    GunState.HOT,
    GunState.WELDING,
    GunState.COOLING,
    GunState.NO_DATA,
)
OFF, WARMING, READY, HOT, WELDING, COOLING, NO_DATA = range(7)
States = npt.NDArray[np.int8]
_NOTHING, _COLD, _AT_TARGET, _ON, _OFF, _RISING, _FALLING, _FLAT, _RECORD = (
    1 << i for i in range(9)
)
_SMOOTH = 4  # steps averaged on either end of the trend


class GunStateDetector:
    """Sees: nozzle temperature, set temperature, heat, weld record, stand, motion.

    Delay against false states: a trend must show over `trend_s`, heat counts as off after
    `heat_off_s` without it.
    """

    def __init__(self, limits: GunLimits = GUN_LIMITS) -> None:
        self.limits = limits
        self.trend = steps_of(limits.trend_s)
        self.flat = steps_of(limits.flat_s)
        self.past = Memory(max(self.flat, self.trend + _SMOOTH))
        self.heat = Delay(1, steps_of(limits.heat_off_s))
        self.thermal = NO_DATA
        self.still = steps_of(limits.motion_pause_s)
        self.rest = 0
        self.state = NO_DATA
        self.since: int | None = None
        self.last_off: int | None = None

    def update(self, signals: GunSignals) -> States:
        """Give the state at each step, int8 [n], an index into STATES."""
        signs = self._signs(signals)
        thermal = self._thermal(signs)
        state = self._use(signals, thermal)
        off = np.flatnonzero(thermal == OFF)
        if len(off):
            self.last_off = int(signals.end[off[-1]])
        changed = changes(state, self.state)
        if len(changed):
            self.since = int(signals.end[changed[-1]])
        elif self.since is None:
            self.since = int(signals.end[0])
        self.state = int(state[-1])
        return state

    def _signs(self, s: GunSignals) -> npt.NDArray[np.int16]:
        rising, falling, flat = self._trends(s.temperature_c)
        on = self.heat.update(s.heat == HEAT_ON)
        t = s.temperature_c
        signs = np.zeros(len(s), np.int16)
        for mask, sign in (
            (np.isnan(t), _NOTHING),
            (t < self.limits.cold_c, _COLD),
            (t >= self._target(s), _AT_TARGET),
            (on & (s.heat >= HEAT_OFF), _ON),
            (~on & (s.heat == HEAT_OFF), _OFF),
            (rising, _RISING),
            (falling, _FALLING),
            (flat & (t > self.limits.flat_above_c), _FLAT),
            (s.welding & (t > self._target(s) - self.limits.far_below_c), _RECORD),
        ):
            signs[mask] |= sign
        return signs

    def _target(self, s: GunSignals) -> Float64:
        limits = self.limits
        by_window = s.heat_low_c - limits.below_window_c
        target = np.where(np.isnan(by_window), limits.hot_without_procedure_c, by_window)
        commanded = s.set_c >= limits.hot_without_procedure_c / 2
        return np.where(commanded, s.set_c - limits.below_set_c, target)

    def _trends(self, temperature_c: Float64) -> tuple[Bool, Bool, Bool]:
        n = len(temperature_c)
        past = self.past.joined(temperature_c)
        size = len(past) - n

        def back(steps: int) -> Float64:
            return past[size - steps : size - steps + n]

        now = sum((back(i) for i in range(1, _SMOOTH)), start=back(0))
        then = sum((back(self.trend + i) for i in range(1, _SMOOTH)), start=back(self.trend))
        rise = (now - then) / _SMOOTH
        level = np.abs(temperature_c - back(self.flat)) < self.limits.flat_c
        return rise >= self.limits.trend_c, rise <= -self.limits.trend_c, level

    def _thermal(self, signs: npt.NDArray[np.int16]) -> States:
        edges = np.flatnonzero(np.diff(signs)) + 1
        bounds = [0, *edges.tolist(), len(signs)]
        thermal = np.empty(len(signs), np.int8)
        for first, end in pairwise(bounds):
            self.thermal = settled(self.thermal, int(signs[first]))
            thermal[first:end] = self.thermal
        return thermal

    def _use(self, s: GunSignals, thermal: States) -> States:
        hot = thermal == HOT
        known = ~np.isnan(s.moving)
        rest = run_length(known & (s.moving <= 0.5), self.rest)
        self.rest = int(rest[-1])
        state = thermal.copy()
        use = np.full(len(s), HOT, np.int8)
        use[known] = np.where(rest[known] >= self.still, READY, WELDING)
        use[s.in_stand <= 0.5] = WELDING
        use[s.welding] = WELDING
        use[s.in_stand > 0.5] = READY
        state[hot] = use[hot]
        return state

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "past": self.past.dump(),
            "heat": self.heat.dump(),
            "thermal": self.thermal,
            "state": self.state,
            "since": self.since,
            "rest": self.rest,
            "last_off": self.last_off,
        }

    def load(self, data: dict[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.past.load(data["past"])
        self.heat.load(data["heat"])
        self.thermal, self.state = int(data["thermal"]), int(data["state"])
        self.since, self.rest = data["since"], int(data["rest"])
        self.last_off = data["last_off"]


@cache
def settled(state: int, signs: int) -> int:
    """Follow the signs until the thermal state stays; it is one of OFF WARMING HOT COOLING."""
    for _ in range(4):
        following = _next(state, signs)
        if following == state:
            break
        state = following
    return state


def _next(state: int, signs: int) -> int:
    if signs & _NOTHING:
        return NO_DATA
    if signs & _COLD:
        return WARMING if signs & (_ON | _RISING) else OFF
    if signs & _AT_TARGET:
        return HOT
    return _lukewarm(state, signs)


def _lukewarm(state: int, signs: int) -> int:
    if state == HOT:
        return COOLING if _heat_taken_away(signs) else HOT
    if state == COOLING:
        return WARMING if _heated(signs) else COOLING
    if state == WARMING and not _heat_taken_away(signs):
        return HOT if signs & _FLAT else WARMING
    return _begun(signs)


def _begun(signs: int) -> int:
    """Judge a lukewarm gun of which nothing is known, or which was cold before."""
    if _heated(signs):
        return WARMING
    if signs & (_OFF | _FALLING):
        return COOLING
    return HOT if signs & _FLAT else WARMING


def _heated(signs: int) -> bool:
    return bool(signs & _ON) or (not signs & _OFF and bool(signs & _RISING))


def _heat_taken_away(signs: int) -> bool:
    if signs & _OFF:
        return True
    return not signs & (_ON | _RECORD) and bool(signs & _FALLING)
