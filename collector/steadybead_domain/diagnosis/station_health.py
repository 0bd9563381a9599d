"""All slow checks of a station: drift and element of each gun, sensors, zeros of the air source."""

from collections.abc import Mapping
from typing import Any

from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.gun_health import GunHealth
from steadybead_domain.diagnosis.gun_state import States
from steadybead_domain.diagnosis.scope import Scope
from steadybead_domain.diagnosis.sensor_signs import SensorSigns
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.zero_check import ZeroCheck
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity

_NO_SENSOR = (Quantity.SET_TEMPERATURE, Quantity.IN_STAND, Quantity.GUN_MOTION)


class StationHealth:
    """Takes the blocks on which the guns' states were judged, in order; gives findings."""

    def __init__(self, station: Station) -> None:
        self.guns = {gun: GunHealth(station, gun) for gun in station.guns}
        self.signs = {
            c.id.channel: SensorSigns(c) for c in station.channels if c.quantity not in _NO_SENSOR
        }
        self.zero = ZeroCheck(station)

    def note(self, check: ReferenceCheck) -> None:
        """Take a reference check; one of another station's channel is passed over."""
        gun = self.guns.get(check.channel.gun or "")
        if gun is not None:
            gun.note(check)

    def relearn(self, gun: str) -> None:
        """Learn anew, after a sensor, meter or element of the gun was changed or adjusted."""
        self.guns[gun].relearn()

    def update(self, start: int, traces: Traces, states: Mapping[str, States]) -> list[Finding]:
        """Give the findings of the steps start, start+1, …, in order of time."""
        found: list[Finding] = []
        for gun, health in self.guns.items():
            found += health.update(start, traces, states[gun])
        for name, signs in self.signs.items():
            found += signs.update(start, traces.by_channel[name])
        found += self.zero.update(start, traces, states)
        return sorted(found, key=lambda f: f.time)

    def scope(self) -> Mapping[str, tuple[Scope, ...]]:
        """Say for each gun what drift can be seen with its channels, and what cannot."""
        return {gun: health.drift.scope() for gun, health in self.guns.items()}

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "guns": {gun: health.dump() for gun, health in self.guns.items()},
            "signs": {name: signs.dump() for name, signs in self.signs.items()},
            "zero": self.zero.dump(),
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave, as far as guns and channels are still there."""
        for gun, health in self.guns.items():
            if gun in data["guns"]:
                health.load(data["guns"][gun])
        for name, signs in self.signs.items():
            if name in data["signs"]:
                signs.load(data["signs"][name])
        self.zero.load(data["zero"])
