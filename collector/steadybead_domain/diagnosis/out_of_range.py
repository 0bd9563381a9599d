"""Heat and flow of a gun against the window of the running record's procedure, else the station's.

Speaks while the gun is hot, ready or welding and its air is on. A gun that is off, warming or
cooling is out of the window by design. This is an equipment alarm with deadband and delays; the
verdict on a weld is taken from its trace and knows none of them.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from steadybead_domain.alarms.change import Change
from steadybead_domain.diagnosis.grid import steps_of
from steadybead_domain.diagnosis.gun_state import HOT, NO_DATA, READY, WELDING, States
from steadybead_domain.diagnosis.limits import RANGE_LIMITS, RangeLimits
from steadybead_domain.diagnosis.signals import GunSignals
from steadybead_domain.diagnosis.steps import Bool, Window, changes, frozen, latch
from steadybead_domain.readings import Float64

Codes = npt.NDArray[np.int8]
NORMAL, ACTIVE, SUPPRESSED = 0, 1, 2
MOSTLY = 0.8
LATELY_S = 3.0


class LimitDetector:
    """One side of a window.

    On: past the limit by the deadband in nearly all steps of the on-delay. Off: back inside the
    limit in nearly all steps of the off-delay, or at once where the check does not speak. Steps
    at which the value is not known are passed over; an alarm that was on is suppressed there.
    `MOSTLY` lets noise at the edge neither raise an alarm nor hold one back.
    """

    def __init__(self, limits: RangeLimits, above: bool) -> None:
        self.deadband = limits.deadband
        self.sign = 1.0 if above else -1.0
        self.past = Window(steps_of(limits.on_delay_s))
        self.back = Window(steps_of(limits.off_delay_s))
        self.lately = Window(steps_of(LATELY_S))
        self.active = False
        self.code = NORMAL

    def update(self, value: Float64, limit: Float64, speaks: Bool, unknown: Bool) -> Codes:
        """Give NORMAL, ACTIVE or SUPPRESSED at each step; a NaN limit never alarms."""
        judged = ~unknown
        before = self.active
        beyond = self.sign * (value[judged] - limit[judged])
        silent = ~speaks[judged] | np.isnan(beyond)
        past = (beyond >= self.deadband) & ~silent
        self.lately.update(past)
        on = self.past.update(past) >= MOSTLY * self.past.size
        off = self.back.update((beyond <= 0) | silent) >= MOSTLY * self.back.size
        active = latch(on & ~silent, off | silent, self.active)
        if len(active):
            self.active = bool(active[-1])
        shown = frozen(active, judged, before)
        return np.where(shown, np.where(unknown, SUPPRESSED, ACTIVE), NORMAL).astype(np.int8)

    @property
    def outside(self) -> bool:
        """Tell whether the value is past its limit by the deadband now, or the alarm is on."""
        return self.active or bool(self.lately.past.mean() >= MOSTLY)

    def dump(self) -> list[Any]:
        """Give the memory as JSON."""
        windows = (self.past, self.back, self.lately)
        return [self.active, self.code, *(w.dump() for w in windows)]

    def load(self, data: Any) -> None:
        """Take up what `dump` gave."""
        self.active, self.code = bool(data[0]), int(data[1])
        for window, held in zip((self.past, self.back, self.lately), data[2:], strict=True):
            window.load(held)


class OutOfRange:
    """The four sides of a gun's two windows.

    Needs nozzle temperature, air flow and a procedure. Not detectable without a procedure.
    """

    def __init__(self, gun: str, limits: Mapping[str, RangeLimits] = RANGE_LIMITS) -> None:
        self.gun = gun
        self.sides = {
            kind: LimitDetector(limits[kind], above=kind.endswith("high"))
            for kind in ("heat_low", "heat_high", "flow_low", "flow_high")
        }

    def update(self, s: GunSignals, states: States, air_lost: Bool) -> Iterator[Change]:
        """Give the changes of a block; `air_lost` mutes what follows from it."""
        no_data = states == NO_DATA
        working = (states == HOT) | (states == READY) | (states == WELDING)
        speaks = working & ~air_lost
        no_flow = no_data | (working & np.isnan(s.flow_l_min))
        t, q = s.temperature_c, s.flow_l_min
        for kind, value, limit, unknown in (
            ("heat_low", t, s.heat_low_c, no_data),
            ("heat_high", t, s.heat_high_c, no_data),
            ("flow_low", q, s.flow_low_l_min, no_flow),
            ("flow_high", q, s.flow_high_l_min, no_flow),
        ):
            side = self.sides[kind]
            codes = side.update(value, limit, speaks, unknown)
            for i in changes(codes, side.code):
                fume = kind == "heat_high" and s.fluoropolymer[i]
                yield Change(
                    int(s.end[i]),
                    "heat_high_fume" if fume else kind,
                    bool(codes[i] != NORMAL),
                    gun=self.gun,
                    value=number(value[i]),
                    limit=number(limit[i]),
                    unit="Cel" if kind.startswith("heat") else s.flow_unit(i),
                    suppressed=bool(codes[i] == SUPPRESSED),
                )
            side.code = int(codes[-1])

    def outside(self) -> list[str]:
        """Give the kinds whose value is outside its window by the deadband now, delay or not."""
        return [kind for kind, side in self.sides.items() if side.outside]

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {kind: side.dump() for kind, side in self.sides.items()}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        for kind, side in self.sides.items():
            if kind in data:
                side.load(data[kind])


def number(value: np.floating[Any]) -> float | None:
    """Give a plain number, None for NaN."""
    return None if np.isnan(value) else float(value)
