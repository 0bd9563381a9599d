"""Signs of a sensor going bad: spikes, jumps no heat could make, a contact that comes and goes."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64, Int64, Reason
from steadybead_domain.times import DAY, HOUR, SECOND

_Q = Quantity
_MOVES = 5 * SECOND // STEP  # readings further apart are not compared


@dataclass(frozen=True, slots=True)
class SignLimits:
    """What one reading may do. Project assumptions, no source.

    `spike`: a single reading further away than this, with the next one back near the one before.
    `rate_per_s`: faster than the quantity can change; None where it can jump.
    """

    spike: float
    rate_per_s: float | None


LIMITS: Mapping[Quantity, SignLimits] = {
    _Q.NOZZLE_TEMPERATURE: SignLimits(40.0, 150.0),
    _Q.CONTROLLER_TEMPERATURE: SignLimits(40.0, 150.0),
    _Q.TERMINAL_TEMPERATURE: SignLimits(10.0, 10.0),
    _Q.GUN_INLET_TEMPERATURE: SignLimits(10.0, 10.0),
    _Q.INTAKE_TEMPERATURE: SignLimits(10.0, 10.0),
    _Q.SUPPLY_VOLTAGE: SignLimits(60.0, None),
    _Q.AIR_FLOW: SignLimits(25.0, None),
}
OFTEN = {"sensor_spikes": 5, "sensor_impossible_rate": 2, "sensor_intermittent": 3}
_SAYS = {
    "sensor_spikes": "{n} single readings far off within an hour, the last at {value:.1f} {unit}",
    "sensor_impossible_rate": "{n} jumps faster than the quantity can change within an hour",
    "sensor_intermittent": "the circuit opened and closed {n} times within an hour",
}
_TO_DO = "Check plug, lead and screen of this sensor, and where its cable runs beside power lines."


class SensorSigns:
    """Sees one channel's trace; one finding of a kind a day.

    Delay against false signs: a kind needs `OFTEN` events within an hour. Not detectable: what a
    slow logger averages away, and a spike that lasts longer than one reading.
    """

    def __init__(self, channel: Channel) -> None:
        self.channel = channel
        self.limits = LIMITS.get(channel.quantity)
        self.last: list[tuple[int, float]] = []
        self.open = False
        self.events: dict[str, list[int]] = {kind: [] for kind in OFTEN}
        self.told: dict[str, int] = {}

    def update(self, start: int, trace: Trace) -> list[Finding]:
        """Give the findings that the steps start, start+1, … allow, in order of time."""
        signs = [*self._contacts(start, trace), *self._moves(start, trace)]
        signs.sort(key=lambda sign: sign[0])
        return [f for at, kind, value in signs for f in self._count(at, kind, value)]

    def _contacts(self, start: int, trace: Trace) -> Iterator[tuple[int, str, float]]:
        broken = trace.reason == Reason.OPEN_CIRCUIT
        before = np.concatenate(([self.open], broken[:-1]))
        self.open = bool(broken[-1])
        for i in np.flatnonzero(broken & ~before).tolist():
            yield (start + i + 1) * STEP, "sensor_intermittent", float("nan")

    def _moves(self, start: int, trace: Trace) -> Iterator[tuple[int, str, float]]:
        if self.limits is None:
            return
        fresh = np.flatnonzero(trace.fresh & np.isfinite(trace.value))
        at = np.concatenate(([s for s, _ in self.last], start + fresh)).astype(np.int64)
        value = np.concatenate(([v for _, v in self.last], trace.value[fresh]))
        judged = len(self.last) - 2  # of the readings remembered, so many are judged already
        self.last = list(zip(at[-3:].tolist(), value[-3:].tolist(), strict=True))
        if len(at) < 3:
            return
        spike, jump = self._kinds(at, value, self.limits)
        for i in np.flatnonzero(spike | jump).tolist():
            if i < judged:
                continue
            kind = "sensor_spikes" if spike[i] else "sensor_impossible_rate"
            yield (int(at[i + 2]) + 1) * STEP, kind, float(value[i + 1])

    def _kinds(self, at: Int64, value: Float64, limits: SignLimits) -> tuple[Any, Any]:
        """Judge each reading that has a neighbour on both sides."""
        near = (np.diff(at)[:-1] <= _MOVES) & (np.diff(at)[1:] <= _MOVES)
        step = np.diff(value)
        out, net = step[:-1], value[2:] - value[:-2]
        spike = near & (np.abs(out) > limits.spike) & (np.abs(net) < 0.3 * np.abs(out))
        if limits.rate_per_s is None:
            return spike, np.zeros_like(spike)
        rate = np.abs(out) / (np.diff(at)[:-1] * (STEP / SECOND))
        return spike, near & ~spike & (rate > limits.rate_per_s) & ~self._back(out, step)

    @staticmethod
    def _back(out: Float64, step: Float64) -> Any:
        """Tell which moves only lead back from a spike."""
        before = np.concatenate(([0.0], step[:-2]))
        return np.abs(before + out) < 0.3 * np.abs(before)

    def _count(self, time: int, kind: str, value: float) -> Iterator[Finding]:
        events = [t for t in self.events[kind] if t > time - HOUR][1 - OFTEN[kind] :]
        self.events[kind] = [*events, time]
        if len(self.events[kind]) < OFTEN[kind] or time - self.told.get(kind, -(2**62)) < DAY:
            return
        self.told[kind] = time
        channel = self.channel
        says = _SAYS[kind].format(n=OFTEN[kind], value=value, unit=channel.unit)
        yield Finding(
            kind,
            channel.id.station_id,
            channel.gun,
            channel.id,
            time,
            self.events[kind][0],
            f"{channel.id.channel}: {says}.",
            _TO_DO,
            Sureness.LIKELY,
            float(len(self.events[kind])),
            0.0,
            None,
            float(OFTEN[kind]),
            "1/h",
        )

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {"last": self.last, "open": self.open, "events": self.events, "told": self.told}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.last = [(int(s), float(v)) for s, v in data["last"]]
        self.open = bool(data["open"])
        self.events = {kind: [int(t) for t in data["events"].get(kind, [])] for kind in OFTEN}
        self.told = {kind: int(t) for kind, t in data["told"].items()}
