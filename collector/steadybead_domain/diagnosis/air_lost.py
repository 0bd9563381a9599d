"""Air lost while the element is hot: the most urgent alarm of all.

Without air the nozzle reading falls while the element burns, so a low temperature proves nothing.
The flow says that the air is gone; the heater's output, power or current says whether the heat is
still on; where none of them is there the alarm says so. Air that stops before the element has
cooled is the same alarm in a milder form. It latches: someone has to look at the element.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

from steadybead_domain.alarms.change import Change
from steadybead_domain.diagnosis.grid import steps_of
from steadybead_domain.diagnosis.limits import AIR_LIMITS, GUN_LIMITS, AirLimits
from steadybead_domain.diagnosis.out_of_range import number
from steadybead_domain.diagnosis.signals import HEAT_ON, HEAT_UNKNOWN, GunSignals
from steadybead_domain.diagnosis.steps import Bool, Delay, changes, frozen, latch, run_length
from steadybead_domain.readings import Float64

KINDS = ("", "air_stopped_hot", "air_lost_heat_unknown", "air_lost_heat_on")


class AirLost:
    """Needs air flow; nozzle temperature or a heater channel tells that the element is hot.

    Delay against false alarms: `confirm_s`, so that one missed reading at 1 Hz is no alarm.
    `hot_steps` bool [n]: where in the last block the element was hot, as far as is known.
    """

    def __init__(self, gun: str, limits: AirLimits = AIR_LIMITS) -> None:
        self.gun = gun
        self.limits = limits
        self.delay = Delay(steps_of(limits.confirm_s), steps_of(limits.back_s))
        self.heat = Delay(1, steps_of(GUN_LIMITS.heat_off_s))
        self.hot = False
        self.hot_steps: Bool = np.zeros(0, np.bool_)
        self.still = 0
        self.code = 0
        self.kind = 0

    def update(self, s: GunSignals) -> tuple[Bool, list[Change]]:
        """Give the steps at which air is lost, bool [n], and the changes."""
        limit = self._limit(s)
        unknown = np.isnan(s.flow_l_min)
        heat_on = self.heat.update(s.heat == HEAT_ON)
        no_air = ~unknown & (s.flow_l_min < limit)
        hot = self.hot_steps = self._element_hot(s, no_air, heat_on)
        judged, before = ~unknown, self.delay.active
        lost = frozen(self.delay.update((no_air & hot)[judged]), judged, before) & hot
        grade = np.where(s.heat == HEAT_UNKNOWN, 2, 1)
        grade[heat_on] = 3
        changed = list(self._changes(s, limit, np.where(lost, grade + 3 * unknown, 0)))
        return lost, changed

    def _limit(self, s: GunSignals) -> Float64:
        limit = s.flow_low_l_min * self.limits.share_of_window
        return np.where(np.isnan(limit), self.limits.least_l_min, limit)

    def _element_hot(self, s: GunSignals, no_air: Bool, heat_on: Bool) -> Bool:
        # A station that was switched off cools too: time without readings counts, unless the
        # last things known are heat, or a nozzle that is still hot.
        dark = np.isnan(s.flow_l_min) & ~(s.temperature_c >= self.limits.element_hot_c)
        still = run_length((no_air | dark) & ~heat_on, self.still)
        blown = (s.temperature_c < self.limits.element_cold_c) & (s.flow_l_min > 0) & ~no_air
        cold = (blown & ~heat_on) | (still >= steps_of(self.limits.cools_s))
        hot = latch(
            (s.temperature_c >= self.limits.element_hot_c) & ~cold | heat_on, cold, self.hot
        )
        self.hot, self.still = bool(hot[-1]), int(still[-1])
        return hot

    def _changes(self, s: GunSignals, limit: Float64, codes: Any) -> Iterator[Change]:
        """Walk the edges; within one loss the kind only ever rises. Codes 4 to 6: suppressed."""
        was = self.code
        for i in changes(codes, self.code):
            code = int(codes[i])
            grade = grade_of(code)
            rise, turned = grade > self.kind, (code > 3) != (was > 3)
            self.kind = max(grade, self.kind) if code else 0
            if code == 0 or was == 0 or rise or turned:
                yield Change(
                    int(s.end[i]),
                    KINDS[self.kind or grade_of(was)],
                    code != 0,
                    gun=self.gun,
                    value=number(s.flow_l_min[i]),
                    limit=number(limit[i]),
                    unit=s.flow_unit(i),
                    suppressed=code > 3,
                )
            was = code
        self.code = was

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "delay": self.delay.dump(),
            "heat": self.heat.dump(),
            "hot": self.hot,
            "still": self.still,
            "code": self.code,
            "kind": self.kind,
        }

    def load(self, data: dict[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.delay.load(data["delay"])
        self.heat.load(data["heat"])
        self.hot, self.still = bool(data["hot"]), int(data["still"])
        self.code, self.kind = int(data["code"]), int(data["kind"])


def grade_of(code: int) -> int:
    """Give the grade of a code, whether suppressed or not; 0 for none."""
    return (code - 1) % 3 + 1 if code else 0
