"""Hints at wiring mistakes of a thermocouple, from its readings now and at the last check."""

import numpy as np

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.worth import near_in_store
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.conversion.wiring import wiring_hint
from steadybead_domain.ids import ChannelId
from steadybead_domain.live import GunState
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import DAY, MINUTE

CHECK_HOLDS = DAY


def hint_text(services: Services, measuring: Measuring, channel: Channel, now: int) -> str:
    """Give the likely cause of an implausible reading; empty where all is plausible.

    The gun should have its set temperature, where that is a channel and the heat is on, and had
    what the probe of the newest reference check showed.
    """
    conversion = channel.conversion
    if not isinstance(conversion, Thermocouple):
        return ""
    for time, expected_c in _expectations(services, measuring, channel, now):
        junction = conversion.cold_junction
        cold_c = junction if isinstance(junction, float) else _at(services, channel, junction, time)
        if cold_c is None:
            continue
        hint = wiring_hint(channel, _raw(services, channel.id, time), cold_c, expected_c)
        if hint is not None:
            return hint.text
    return ""


def _expectations(
    services: Services, measuring: Measuring, channel: Channel, now: int
) -> list[tuple[int, float | None]]:
    station = services.plant().station(channel.id.station_id)
    settings = (
        None if station is None else station.channel_of(Quantity.SET_TEMPERATURE, channel.gun)
    )
    set_c = None if settings is None else near_in_store(services, now)(settings.id)
    if _is_heat_off(services, channel, now):
        set_c = None
    found: list[tuple[int, float | None]] = [(now, set_c)]
    checks = [c for c in measuring.checks(channel.id) if not c.withdrawn]
    if checks and checks[-1].time > now - CHECK_HOLDS:
        found.append((checks[-1].time, checks[-1].reference))
    return found


def _is_heat_off(services: Services, channel: Channel, now: int) -> bool:
    """Tell whether the gun cools or is off: it then has not what it is set to."""
    live = services.live.snapshot(now).station(channel.id.station_id)
    states = {} if live is None else {gun.gun: gun.state for gun in live.guns}
    return states.get(channel.gun or "") in (GunState.COOLING, GunState.OFF)


def _at(services: Services, channel: Channel, junction: str | float, time: int) -> float | None:
    name = ChannelId(channel.id.site, channel.id.station, str(junction))
    return near_in_store(services, time)(name)


def _raw(services: Services, channel: ChannelId, time: int) -> Float64:
    """Collect the raw readings of the half minute up to a time, whatever became of them."""
    parts = [p.raw for p in services.readings.read(channel, time - MINUTE // 2, time + 1)]
    return np.concatenate([np.empty(0, np.float64), *parts])
