"""What a new type K thermocouple comes to read too high in its first hot hours.

Short-range ordering in the Ni-Cr leg at 250–550 °C. Published figures at 350 °C: +0.9 °C after
5 min, +1.9 °C after 45 min, +3.7 °C after 7 h (a thermocouple maker's note, found; ORNL-TM-4862
gives up to 1.7 %). It shows mainly where immersion differs between use and calibration, and goes
back at about 650 °C; so it is expected, not certain.
"""

from math import log

import numpy as np

from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.plant import Channel

HOT_ENOUGH_C = 200.0
SETTLED_H = 7.0
_HOURS = (5.0 / 60.0, 45.0 / 60.0, 7.0)
_RISE_C = (0.9, 1.9, 3.7)


def expected_rise_c(hot_h: float) -> float:
    """Give what a new type K reads high by after so many hot hours; straight in their logarithm."""
    if hot_h <= _HOURS[0]:
        return _RISE_C[0] * max(hot_h, 0.0) / _HOURS[0]
    return float(np.interp(log(hot_h), [log(h) for h in _HOURS], _RISE_C))


MOST_C = 1.2 * expected_rise_c(SETTLED_H)  # a fifth more, for other temperatures than 350 °C


def may_burn_in(channel: Channel | None) -> bool:
    """Tell whether the sensor may be of type K; one whose type is not said may be."""
    if channel is None:
        return False
    conversion = channel.conversion
    return not isinstance(conversion, Thermocouple) or conversion.type == "K"
