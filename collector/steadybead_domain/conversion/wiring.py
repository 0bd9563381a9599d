"""Is a thermocouple wired as the plant file says? Judged on a stretch of steady readings."""

from collections.abc import Callable
from typing import Final

import numpy as np

from steadybead_domain.conversion.plausibility import WiringHint, thermocouple_hint
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.conversion.units import to_unit
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, Plant
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64

# project assumptions: so many readings, and this spread between their quartiles, count as steady
LEAST_READINGS: Final = 3
STEADY_MV: Final = 0.2


def wiring_hint(
    channel: Channel, raw: Float64, cold_c: float, expected_c: float | None = None
) -> WiringHint | None:
    """Look for a wiring mistake in raw readings [n] of a thermocouple, in its unit on the wire.

    None for another kind of channel, for too few or unsteady readings, and where all is plausible.
    `cold_c` is the cold junction, `expected_c` what the gun should have, None: not known.
    """
    if not isinstance(channel.conversion, Thermocouple) or len(raw) < LEAST_READINGS:
        return None
    factor, offset = to_unit(channel.wire_unit, "mV")
    low, middle, high = np.percentile(factor * raw + offset, [25.0, 50.0, 75.0])
    if high - low > STEADY_MV:
        return None
    return thermocouple_hint(channel.conversion.type, float(middle), cold_c, expected_c)


def likely_mistake(
    plant: Plant, channel: Channel, raw: Float64, value_of: Callable[[ChannelId], float | None]
) -> str:
    """Tell the likely cause where a thermocouple reads what cannot be; empty where all may be well.

    `raw` [n] are its newest raw readings; `value_of` gives the last value of another channel.
    """
    conversion = channel.conversion
    if not isinstance(conversion, Thermocouple):
        return ""
    cold_c: float | None
    if isinstance(conversion.cold_junction, str):
        place = channel.id
        cold_c = value_of(ChannelId(place.site, place.station, conversion.cold_junction))
    else:
        cold_c = conversion.cold_junction
    if cold_c is None:
        return ""
    station = plant.station(channel.id.station_id)
    setting = station and station.channel_of(Quantity.SET_TEMPERATURE, channel.gun)
    found = wiring_hint(channel, raw, cold_c, value_of(setting.id) if setting else None)
    return "" if found is None else found.text
