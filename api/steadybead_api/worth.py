"""What a value of a channel is worth at a time, from readings and records."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_domain.conversion.conditions import meter_sources, meter_state
from steadybead_domain.conversion.flow import GasState
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Quality, Reading
from steadybead_domain.times import MINUTE, SECOND
from steadybead_domain.uncertainty.worth import Worth, worth_of_flow, worth_of_temperature

DEFAULT_COLD_C: Final = 25.0
WITH_BUDGET: Final = frozenset({Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW})
Near = Callable[[ChannelId], float | None]
"""Gives the last good value of a channel near the time in question."""


@dataclass(frozen=True, slots=True)
class Valued:
    """A worth with the conditions that it was found under; `assumptions` were taken for granted."""

    worth: Worth
    channel: Channel
    time: int
    nozzle: str
    flow_l_min: float | None
    assumptions: tuple[str, ...]


class Valuer:
    """Finds what values are worth; one for one answer."""

    def __init__(self, services: Services, measuring: Measuring) -> None:
        self._services = services
        self._measuring = measuring
        self._stations = {s.id: s for s in services.plant().stations}

    def value(
        self,
        channel: Channel,
        time: int,
        value: float,
        near: Near,
        nozzle: str | None = None,
    ) -> Valued:
        """Judge a recorded value of a nozzle temperature or an air flow.

        Without `nozzle`, that of the newest reference check before the time is taken. Raises
        ValueError for another quantity, or where the plant file contradicts itself.
        """
        assumed: list[str] = []
        on_it = nozzle or self.nozzle(channel.id, time, assumed)
        if channel.quantity is Quantity.NOZZLE_TEMPERATURE:
            return self._temperature(channel, time, value, near, on_it, assumed)
        if channel.quantity is Quantity.AIR_FLOW:
            return self._flow(channel, time, value, near, on_it, assumed)
        raise ValueError(
            f"no uncertainty budget is kept for {channel.quantity}: ask for a nozzle_temperature"
            " or air_flow channel"
        )

    def nozzle(self, channel: ChannelId, time: int, assumed: list[str]) -> str:
        """Tell which nozzle was on, by the newest check of the gun; empty if nobody said."""
        station = self._stations.get(channel.station_id)
        own = [] if station is None else [c.id for c in station.channels if c.gun == channel.gun]
        checks = [
            check
            for name in own
            if self._quantity(name) in WITH_BUDGET
            for check in self._measuring.checks(name)
            if check.time <= time and not check.withdrawn
        ]
        if not checks:
            return ""
        newest = max(checks, key=lambda c: c.time)
        assumed.append(f"nozzle {newest.nozzle}, as at the newest reference check")
        return newest.nozzle

    def _quantity(self, channel: ChannelId) -> Quantity | None:
        found = self._measuring.channel(channel)
        return None if found is None else found.quantity

    def _temperature(
        self,
        channel: Channel,
        time: int,
        value: float,
        near: Near,
        nozzle: str,
        assumed: list[str],
    ) -> Valued:
        cold_c = _cold_c(channel, near, assumed)
        station = self._stations.get(channel.id.station_id)
        flow_channel = None
        if station is not None:
            flow_channel = station.channel_of(Quantity.AIR_FLOW, channel.gun)
        flow = None if flow_channel is None else near(flow_channel.id)
        worth = worth_of_temperature(
            value,
            time,
            channel,
            self._measuring.line(channel.id),
            self._measuring.checks(channel.id),
            nozzle=nozzle,
            flow_l_min=flow,
            cold_c=cold_c,
        )
        return Valued(worth, channel, time, nozzle, flow, tuple(assumed))

    def _flow(
        self,
        channel: Channel,
        time: int,
        value: float,
        near: Near,
        nozzle: str,
        assumed: list[str],
    ) -> Valued:
        state, taken = self.meter_state(channel, near)
        worth = worth_of_flow(
            value,
            time,
            channel,
            self._measuring.line(channel.id),
            self._measuring.checks(channel.id),
            nozzle=nozzle,
            at_meter=state,
            state_is_assumed=bool(taken),
        )
        return Valued(worth, channel, time, nozzle, value, (*assumed, *taken))

    def meter_state(self, channel: Channel, near: Near) -> tuple[GasState, tuple[str, ...]]:
        """Give the state of the air in a flow meter, and what had to be assumed."""
        return meter_state_of(self._services, channel, near)


def meter_state_of(
    services: Services, channel: Channel, near: Near
) -> tuple[GasState, tuple[str, ...]]:
    """Give the state of the air in a flow meter, and what had to be assumed; ValueError."""
    station = services.plant().station(channel.id.station_id)
    if station is None:
        raise ValueError(f"station {channel.id.station_id} is not in the plant file")
    sources = meter_sources(station, channel)
    found = {name: near(name) for name in sources.channels}
    return meter_state(sources, {name: v for name, v in found.items() if v is not None})


def near_in_store(services: Services, time: int, reach: int = MINUTE) -> Near:
    """Look in the store for the last good value in the minute up to a time."""

    def near(channel: ChannelId) -> float | None:
        value = None
        for part in services.readings.read(channel, time - reach, time + 1):
            good = part.value[part.quality == Quality.GOOD]
            if len(good):
                value = float(good[-1])
        return value

    return near


def near_of(
    services: Services, latest: Mapping[ChannelId, Reading], now: int, reach: int = MINUTE
) -> Near:
    """Take the newest readings where they are good; else look back for up to a minute."""
    earlier = near_in_store(services, now, reach)

    def near(channel: ChannelId) -> float | None:
        found = latest.get(channel)
        if found is None or found.time < now - reach:
            return None
        return found.value if found.quality is Quality.GOOD else earlier(channel)

    return near


def recorded_at(services: Services, channel: Channel, time: int) -> float | None:
    """Give the last recorded value at or before a time, not older than the channel's silence."""
    reach = int(channel.silence_s * SECOND)
    value = None
    for part in services.readings.read(channel.id, time - reach, time + 1):
        sound = part.value[part.quality < Quality.BAD]
        if len(sound):
            value = float(sound[-1])
    return value


def _cold_c(channel: Channel, near: Near, assumed: list[str]) -> float:
    conversion = channel.conversion
    if isinstance(conversion, Thermocouple):
        if not isinstance(conversion.cold_junction, str):
            return conversion.cold_junction
        name = ChannelId(channel.id.site, channel.id.station, conversion.cold_junction)
        found = near(name)
        if found is not None:
            return found
    assumed.append(f"the terminal's temperature is not known: {DEFAULT_COLD_C:g} °C taken")
    return DEFAULT_COLD_C
