"""Where the state of the air in a flow meter is known from, and what had to be assumed."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from steadybead_domain.conversion.flow import NORMAL_PRESSURE_PA, GasState
from steadybead_domain.conversion.specs import FlowPrinciple, FlowReference
from steadybead_domain.conversion.units import UnitError, to_unit
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, FlowMeter, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64

DEFAULT_TEMPERATURE_C: Final = 20.0
Values = Mapping[ChannelId, float | Float64]


@dataclass(frozen=True, slots=True)
class MeterSources:
    """The channels to read for the air in one meter; None where the default must do.

    `pressure` is ambient (absolute) pressure, `gauge_pressure` is added to it. `fixed_…` come
    from the plant file. `assumptions` are sentences to show beside the flow.
    """

    temperature: ChannelId | None = None
    pressure: ChannelId | None = None
    gauge_pressure: ChannelId | None = None
    humidity: ChannelId | None = None
    fixed_temperature_c: float | None = None
    fixed_pressure_pa: float | None = None
    assumptions: tuple[str, ...] = ()

    @property
    def channels(self) -> tuple[ChannelId, ...]:
        """List the channels to read."""
        found = (self.temperature, self.pressure, self.gauge_pressure, self.humidity)
        return tuple(channel for channel in found if channel is not None)


def meter_sources(station: Station, channel: Channel) -> MeterSources:
    """Choose the sources for a flow channel; raise ValueError with the remedy.

    Without a word in the plant file: the gun's inlet temperature, else the intake temperature,
    and the ambient pressure, each with the assumption that this makes.
    """
    meter = channel.flow or FlowMeter()
    _check_reference(meter)
    temperature, fixed_c, warm = _temperature(station, channel, meter)
    ambient = _id(station.channel_of(Quantity.AMBIENT_PRESSURE))
    gauge, fixed_pa, pressed = _pressure(station, meter)
    assumed = [*warm, *pressed]
    if ambient is None and fixed_pa is None:
        assumed.append("no ambient pressure is known: 1013.25 hPa taken")
    return MeterSources(
        temperature,
        ambient if fixed_pa is None else None,
        gauge,
        _id(station.channel_of(Quantity.INTAKE_HUMIDITY)),
        fixed_c,
        fixed_pa,
        tuple(assumed),
    )


def meter_state(sources: MeterSources, values: Values) -> tuple[GasState, tuple[str, ...]]:
    """Give the state of the air in the meter and all that was assumed.

    `values` are good readings in engineering units, numbers or arrays [n] on the flow's times; a
    missing one falls back to the default, which is then said. Humidity is taken as it is at the
    intake, 0..1.
    """
    assumed = list(sources.assumptions)

    def known(channel: ChannelId | None, default: float, what: str) -> float | Float64:
        if channel is None:
            return default
        if channel in values:
            return values[channel]
        assumed.append(f"no reading of {channel.channel}: {what} taken")
        return default

    temperature_c = sources.fixed_temperature_c
    if temperature_c is None:
        found_c = known(sources.temperature, DEFAULT_TEMPERATURE_C, "20 °C")
    pressure_pa = sources.fixed_pressure_pa
    if pressure_pa is None:
        found_pa = known(sources.pressure, NORMAL_PRESSURE_PA, "1013.25 hPa")
    gauge_pa = known(sources.gauge_pressure, 0.0, "no gauge pressure")
    humidity = np.asarray(known(sources.humidity, 0.0, "dry air")) / 100.0
    state = GasState(
        found_c if temperature_c is None else temperature_c,
        (found_pa if pressure_pa is None else pressure_pa) + gauge_pa,
        humidity,
    )
    return state, tuple(assumed)


def _check_reference(meter: FlowMeter) -> None:
    if meter.principle is FlowPrinciple.THERMAL_MASS and meter.reference is FlowReference.ACTUAL:
        raise ValueError(
            "a thermal mass meter has no actual flow: state the reference on its data sheet "
            '("DIN 1343", "ISO 2533" or "ANR")'
        )


def _temperature(
    station: Station, channel: Channel, meter: FlowMeter
) -> tuple[ChannelId | None, float | None, list[str]]:
    if isinstance(meter.temperature_at, str):
        return _named(station, meter.temperature_at, "temperature_at", "Cel").id, None, []
    if meter.temperature_at is not None:
        return None, float(meter.temperature_at), []
    inlet = station.channel_of(Quantity.GUN_INLET_TEMPERATURE, channel.gun)
    if inlet is not None:
        return inlet.id, None, ["the air in the meter is taken as warm as at the gun's inlet"]
    intake = station.channel_of(Quantity.INTAKE_TEMPERATURE)
    if intake is not None:
        return intake.id, None, ["the air in the meter is taken as warm as at the intake"]
    return None, DEFAULT_TEMPERATURE_C, ["no temperature at the meter is known: 20 °C taken"]


def _pressure(
    station: Station, meter: FlowMeter
) -> tuple[ChannelId | None, float | None, list[str]]:
    """Give (gauge channel, fixed absolute Pa, assumptions)."""
    if isinstance(meter.pressure_at, str):
        named = _named(station, meter.pressure_at, "pressure_at", "Pa")
        is_ambient = named.quantity is Quantity.AMBIENT_PRESSURE
        return None if is_ambient else named.id, None, []
    if meter.pressure_at is not None:
        return None, float(meter.pressure_at), []
    return None, None, ["the air in the meter is taken to be at ambient pressure"]


def _named(station: Station, name: str, key: str, unit: str) -> Channel:
    found = next((c for c in station.channels if c.id.channel == name), None)
    if found is None:
        raise ValueError(f"{key} {name!r} is no channel of this station: name one, or a number")
    try:
        to_unit(found.unit, unit)
    except UnitError as error:
        raise ValueError(f"{key} {name!r}: {error}") from None
    return found


def _id(channel: Channel | None) -> ChannelId | None:
    return None if channel is None else channel.id
