"""All that is watched on one gun, in the order in which one check needs the other."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from steadybead_domain.alarms.change import Change
from steadybead_domain.diagnosis.air_lost import AirLost
from steadybead_domain.diagnosis.gun_health import GunHealth
from steadybead_domain.diagnosis.gun_state import STATES, GunStateDetector, States
from steadybead_domain.diagnosis.meter_factor import MeterFactor
from steadybead_domain.diagnosis.out_of_range import OutOfRange
from steadybead_domain.diagnosis.sensor_health import StuckSensor
from steadybead_domain.diagnosis.signals import (
    GunSignals,
    Held,
    Traces,
    gun_signals,
)
from steadybead_domain.diagnosis.weld_times import OpenWeld, Procedures, WeldTimes
from steadybead_domain.live import GunState, LiveGun
from steadybead_domain.plant import Station
from steadybead_domain.procedures import Procedure
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import MINUTE, SECOND

_STICKING = (Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW)


class GunWatch:
    """One gun: state first, then air, range and stuck sensors."""

    def __init__(self, station: Station, gun: str, procedures: Procedures) -> None:
        self.station = station
        self.gun = gun
        self.procedures = procedures
        self.welds = WeldTimes()
        self.state = GunStateDetector()
        self.meter = MeterFactor(station, gun)
        self.air = AirLost(gun)
        self.range = OutOfRange(gun)
        self.stuck = {
            channel.quantity: StuckSensor(channel)
            for channel in station.channels
            if channel.gun == gun and channel.quantity in _STICKING
        }
        self.health = GunHealth(station, gun)
        self.last: GunSignals | None = None
        self.states: States | None = None

    def procedure(self) -> Procedure | None:
        """Give the procedure that holds now: the running record's, else the station's."""
        return self._procedure_of(self.welds.open)

    def _procedure_of(self, weld: OpenWeld | None) -> Procedure | None:
        if weld is not None and weld.procedure is not None:
            return self.procedures.find(weld.procedure, weld.revision)
        return self.procedures.find(self.station.procedure)

    def update(self, traces: Traces, start: int, n: int) -> list[Change]:
        """Give the changes of the steps start … start+n-1; `health` looks at them later."""
        held = [
            Held(part.first, part.end, _id_of(part.weld), self._procedure_of(part.weld))
            for part in self.welds.segments(start, n)
        ]
        signals = gun_signals(self.gun, traces, held, self.meter, start=start)
        states = self.state.update(signals)
        lost, changed = self.air.update(signals)
        changed += self.range.update(signals, states, lost)
        for quantity, detector in self.stuck.items():
            value = traces.value(quantity, self.gun)
            junction = traces.by_channel.get(detector.junction or "")
            cold = None if junction is None else junction.value
            changed += detector.update(signals.end, value, states, cold)
        self.last, self.states = signals, states
        return changed

    def live(self, now: int) -> LiveGun:
        """Give the gun as it is shown."""
        procedure = self.procedure()
        return LiveGun(
            self.gun,
            STATES[self.state.state],
            now if self.state.since is None else self.state.since,
            None if self.welds.open is None else self.welds.open.id,
            None if procedure is None else procedure.id,
        )

    def window(self, quantity: Quantity) -> tuple[float | None, float | None]:
        """Give the procedure's window in the channel's own terms, as far as there is one."""
        procedure = self.procedure()
        if procedure is None or quantity not in _STICKING:
            return None, None
        if quantity is Quantity.NOZZLE_TEMPERATURE:
            return procedure.nozzle_temperature.low, procedure.nozzle_temperature.high
        factor = 1.0 if self.last is None else float(self.last.flow_factor[-1])
        low, high = procedure.air_flow.low, procedure.air_flow.high
        return None if low is None else low / factor, None if high is None else high / factor

    def doubts(self, now: int) -> list[str]:
        """Say why this gun is not fit to weld; empty if it is."""
        state = STATES[self.state.state]
        if state in (GunState.OFF, GunState.WARMING, GunState.COOLING, GunState.NO_DATA):
            return [f"gun {self.gun}: {state.value}"]
        procedure = self.procedure()
        if procedure is None:
            return [f"gun {self.gun}: no procedure, so heat and air are not judged"]
        doubts = [f"gun {self.gun}: {_OUTSIDE[kind]}" for kind in self.range.outside()]
        if self.last is not None and np.isnan(self.last.flow_l_min[-1]):
            doubts.append(f"gun {self.gun}: no flow reading")
        if self.air.delay.active:
            doubts.append(f"gun {self.gun}: no air")
        warm = self._warmed(now, procedure)
        return doubts if warm is None else [*doubts, warm]

    def _warmed(self, now: int, procedure: Procedure) -> str | None:
        off = self.state.last_off
        if off is None or now - off >= procedure.warm_up_s * SECOND:
            return None
        minutes = (now - off) / MINUTE
        return f"gun {self.gun}: warmed up for {minutes:.0f} of {procedure.warm_up_s / 60:.0f} min"

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "welds": self.welds.dump(),
            "state": self.state.dump(),
            "air": self.air.dump(),
            "range": self.range.dump(),
            "stuck": {q.value: d.dump() for q, d in self.stuck.items()},
            "health": self.health.dump(),
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.welds.load(data["welds"], self.station.id, self.gun)
        self.state.load(data["state"])
        self.air.load(data["air"])
        self.range.load(data["range"])
        if "health" in data:
            self.health.load(data["health"])
        for quantity, detector in self.stuck.items():
            if quantity.value in data["stuck"]:
                detector.load(data["stuck"][quantity.value])


def _id_of(weld: OpenWeld | None) -> str | None:
    return None if weld is None else weld.id


_OUTSIDE = {
    "heat_low": "too cold",
    "heat_high": "too hot",
    "flow_low": "too little air",
    "flow_high": "too much air",
}
