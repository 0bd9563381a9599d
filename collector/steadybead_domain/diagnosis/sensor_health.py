"""A sensor that is broken by its own word, or stuck.

A broken sensor gives no usable value, so whatever is drawn from it falls silent by itself; this
raises the one alarm that names the sensor.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np

from steadybead_domain.alarms.change import Change
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.diagnosis.grid import Trace, steps_of
from steadybead_domain.diagnosis.gun_state import COOLING, HOT, READY, WARMING, WELDING, States
from steadybead_domain.diagnosis.limits import SENSOR_LIMITS, SensorLimits
from steadybead_domain.diagnosis.out_of_range import number
from steadybead_domain.diagnosis.steps import Delay, changes, latch, run_length
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64, Int64, Reason

_KINDS = {
    Reason.OPEN_CIRCUIT: "sensor_open_circuit",
    Reason.LOOP_FAULT: "sensor_loop_fault",
}
_NONE, _COUNTER_RESTART = int(Reason.NONE), int(Reason.COUNTER_RESTART)
NO_MOVE_C = 0.06  # a live couple's noise passes it within seconds, a cold junction's does not
_MOVES_WITH_HEAT = (Quantity.NOZZLE_TEMPERATURE,)


class BrokenSensor:
    """Needs only the quality of the readings. A restarted counter is no fault."""

    def __init__(self, channel: Channel, limits: SensorLimits = SENSOR_LIMITS) -> None:
        self.channel = channel
        self.delay = Delay(steps_of(limits.broken_s), steps_of(limits.mended_s))
        self.kind = "sensor_bad"

    def update(self, end: Int64, trace: Trace) -> Iterator[Change]:
        """Give the changes of a block."""
        before = self.delay.active
        if not (before or trace.reason.any()):
            self.delay.pass_over(len(end))
            return
        broken = (trace.reason != _NONE) & (trace.reason != _COUNTER_RESTART)
        active = self.delay.update(broken)
        for i in changes(active, before):
            if active[i]:
                self.kind = _KINDS.get(Reason(int(trace.reason[i])), "sensor_bad")
            yield Change(
                int(end[i]), self.kind, bool(active[i]), self.channel.gun, self.channel.id.channel
            )

    def dump(self) -> list[Any]:
        """Give the memory as JSON."""
        return [self.delay.dump(), self.kind]

    def load(self, data: Any) -> None:
        """Take up what `dump` gave."""
        self.delay.load(data[0])
        self.kind = data[1]


class StuckSensor:
    """A value that does not move by one bit while the gun works.

    Needs the gun's state. Speaks for temperature and flow of a gun that is hot, and for the
    temperature while it warms or cools. A healthy reading that is coarsely rounded can look the
    same, hence the long delay and the low priority. A thermocouple whose voltage is frozen still
    moves with its cold junction: where that is a channel, it is the difference that must move.
    """

    def __init__(self, channel: Channel, limits: SensorLimits = SENSOR_LIMITS) -> None:
        self.channel = channel
        silence_s = 2 * channel.silence_s
        self.hot_s = max(limits.stuck_hot_s, silence_s)
        self.moving_s = max(limits.stuck_moving_s, silence_s)
        self.with_heat = channel.quantity in _MOVES_WITH_HEAT
        wiring = channel.conversion
        junction = wiring.cold_junction if isinstance(wiring, Thermocouple) else None
        self.junction = junction if isinstance(junction, str) else None
        self.last = float("nan")
        self.same = 0
        self.active = False

    def update(
        self, end: Int64, value: Float64, states: States, junction: Float64 | None = None
    ) -> Iterator[Change]:
        """Give the changes of a block; `junction`: what the channel's cold junction reads."""
        seen = value if junction is None else value - junction
        before = np.concatenate(([self.last], seen[:-1]))
        unchanged = seen == before if junction is None else np.abs(seen - before) <= NO_MOVE_C
        same = run_length(unchanged, self.same)
        hot = (states == HOT) | (states == READY) | (states == WELDING)
        stuck = hot & (same >= steps_of(self.hot_s))
        if self.with_heat:
            moving = (states == WARMING) | (states == COOLING)
            stuck |= moving & (same >= steps_of(self.moving_s))
        active = latch(stuck, ~unchanged, self.active)
        for i in changes(active, self.active):
            yield Change(
                int(end[i]),
                "sensor_stuck",
                bool(active[i]),
                self.channel.gun,
                self.channel.id.channel,
                number(value[i]),
                self.moving_s if self.with_heat and same[i] < steps_of(self.hot_s) else self.hot_s,
                self.channel.unit,
            )
        self.last, self.same = float(seen[-1]), int(same[-1])
        self.active = bool(active[-1])

    def dump(self) -> list[Any]:
        """Give the memory as JSON."""
        return [None if np.isnan(self.last) else self.last, self.same, self.active]

    def load(self, data: Any) -> None:
        """Take up what `dump` gave."""
        self.last = float("nan") if data[0] is None else float(data[0])
        self.same, self.active = int(data[1]), bool(data[2])
