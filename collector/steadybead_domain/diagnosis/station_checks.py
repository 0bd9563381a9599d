"""Slow checks that belong to no single gun: signs of bad sensors, the air source, the supply."""

from collections.abc import Mapping
from typing import Any

from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.gun_state import States
from steadybead_domain.diagnosis.outlet_tube import OutletTube
from steadybead_domain.diagnosis.sensor_signs import SensorSigns
from steadybead_domain.diagnosis.sensor_still import StillSensors
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.supply_watch import SupplyWatch
from steadybead_domain.diagnosis.zero_check import ZeroCheck
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity

_NO_SENSOR = (Quantity.SET_TEMPERATURE, Quantity.IN_STAND, Quantity.GUN_MOTION)


class StationChecks:
    """Takes the blocks on which the guns' states were judged, in order; gives findings."""

    def __init__(self, station: Station) -> None:
        self.signs = {
            c.id.channel: SensorSigns(c) for c in station.channels if c.quantity not in _NO_SENSOR
        }
        self.zero = ZeroCheck(station)
        self.supply = SupplyWatch(station)
        self.tube = OutletTube(station)
        self.still = StillSensors(station)

    def update(self, start: int, traces: Traces, states: Mapping[str, States]) -> list[Finding]:
        """Give the findings of the steps start, start+1, …, in order of time; states by gun."""
        found = self.zero.update(start, traces, states)
        found += self.supply.update(start, traces)
        found += self.tube.update(start, traces)
        found += self.still.update(start, traces, states)
        for name, signs in self.signs.items():
            found += signs.update(start, traces.by_channel[name])
        return sorted(found, key=lambda f: f.time)

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "signs": {name: signs.dump() for name, signs in self.signs.items()},
            "zero": self.zero.dump(),
            "supply": self.supply.dump(),
            "tube": self.tube.dump(),
            "still": self.still.dump(),
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave, as far as the channels are still there."""
        for name, signs in self.signs.items():
            if name in data["signs"]:
                signs.load(data["signs"][name])
        self.zero.load(data["zero"])
        if "still" in data:
            self.supply.load(data["supply"])
            self.tube.load(data["tube"])
            self.still.load(data["still"])
