"""The columns of one gun that the slow checks look at, and the air that goes through it."""

from collections.abc import Mapping

import numpy as np

from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.diagnosis.flow_alike import OPEN_L_MIN
from steadybead_domain.diagnosis.gun_state import HOT, OFF, READY, WELDING, States
from steadybead_domain.diagnosis.meter_factor import MeterFactor
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64

_Q = Quantity
GUN_QUANTITIES: dict[str, Quantity] = {
    "nozzle": _Q.NOZZLE_TEMPERATURE,
    "set": _Q.SET_TEMPERATURE,
    "controller": _Q.CONTROLLER_TEMPERATURE,
    "terminal": _Q.TERMINAL_TEMPERATURE,
    "flow": _Q.AIR_FLOW,
    "inlet": _Q.GUN_INLET_TEMPERATURE,
    "power": _Q.HEATER_POWER,
    "output": _Q.HEATER_OUTPUT,
    "current": _Q.HEATER_CURRENT,
}
AIR_QUANTITIES: dict[str, Quantity] = {
    "intake": _Q.INTAKE_TEMPERATURE,
    "humidity": _Q.INTAKE_HUMIDITY,
    "ambient": _Q.AMBIENT_PRESSURE,
    "outlet": _Q.OUTLET_PRESSURE,
    "supply": _Q.SUPPLY_VOLTAGE,
    "motor": _Q.MOTOR_CURRENT,
}


class GunColumns:
    """Picks what the station has for one gun; `names` lists it.

    `hot` is 1 while the gun is hot, ready or welding, `off` 1 while it is off. `others`, where
    there are other guns with a flow channel: how many of them have air.
    """

    def __init__(self, station: Station, gun: str) -> None:
        self.places: dict[str, tuple[Quantity, str | None]] = {}
        for name, quantity in GUN_QUANTITIES.items():
            if station.channel_of(quantity, gun) is not None:
                self.places[name] = (quantity, gun)
        for name, quantity in AIR_QUANTITIES.items():
            if station.channel_of(quantity) is not None:
                self.places[name] = (quantity, None)
        self.others = [
            g for g in station.guns if g != gun and station.channel_of(_Q.AIR_FLOW, g) is not None
        ]
        self.names = (*self.places, *(["others"] if self.others else []), "hot", "off")

    def of(self, traces: Traces, states: States) -> dict[str, Float64]:
        """Give the columns of a block, float64 [n] each."""
        columns = {name: traces.value(*place) for name, place in self.places.items()}
        if self.others:
            with np.errstate(invalid="ignore"):
                blow = [traces.value(_Q.AIR_FLOW, g) > OPEN_L_MIN for g in self.others]
            columns["others"] = np.sum(blow, axis=0, dtype=np.float64)
        working = (states == HOT) | (states == READY) | (states == WELDING)
        return columns | {
            "hot": working.astype(np.float64),
            "off": (states == OFF).astype(np.float64),
        }


class NormalFlow:
    """Brings a gun's flow figure to normal litres (DIN 1343), by what the plant file says."""

    def __init__(self, station: Station, gun: str) -> None:
        self.factor = MeterFactor(station, gun)
        self.names: dict[ChannelId, str] = {}
        for name, quantity in (GUN_QUANTITIES | AIR_QUANTITIES).items():
            channel = station.channel_of(quantity, gun) or station.channel_of(quantity)
            if channel is not None:
                self.names[channel.id] = name

    def of(self, means: Mapping[str, Float64]) -> Float64:
        """Give normal litres a minute [m] from columns of means; defaults stand in for NaN."""
        blank = np.full(len(next(iter(means.values()))), np.nan)
        flow = means.get("flow", blank)

        def column(channel: ChannelId) -> Float64:
            return means.get(self.names.get(channel, ""), blank)

        return flow * self.factor.factor(column, FlowReference.DIN_1343, slice(0, len(flow)))
