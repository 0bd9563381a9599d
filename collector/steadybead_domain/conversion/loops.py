"""4–20 mA and 0–10 V loops, and pressure-drop elements: plain arithmetic on wire values.

The bands follow common NAMUR NE 43 practice, from memory, verify against the recommendation:
3.8..20.5 mA measures, at or below 3.6 mA and at or above 21 mA the transmitter reports a fault,
and between the two it is saturated. A voltage loop uses the same fractions of its span.
"""

from typing import Final, NamedTuple

import numpy as np

from steadybead_domain.conversion.wire import Mask, lies_within
from steadybead_domain.readings import Float64

FAULT_LOW_MA: Final = 3.6
SATURATED_LOW_MA: Final = 3.8
SATURATED_HIGH_MA: Final = 20.5
FAULT_HIGH_MA: Final = 21.0
_ZERO_MA, _SPAN_MA = 4.0, 16.0


class LoopSignal(NamedTuple):
    """The share of the span [n], and the bands: None where no reading lies in them."""

    share: Float64
    saturated: Mask | None
    fault: Mask | None


def current_signal(current_ma: Float64) -> LoopSignal:
    """Read a 4–20 mA signal [n] as a share of its span, 0 at 4 mA and 1 at 20 mA."""
    share = (current_ma - _ZERO_MA) / _SPAN_MA
    if lies_within(current_ma, SATURATED_LOW_MA, SATURATED_HIGH_MA):
        return LoopSignal(share, None, None)
    fault = ~((current_ma > FAULT_LOW_MA) & (current_ma < FAULT_HIGH_MA))
    saturated = ~fault & ((current_ma < SATURATED_LOW_MA) | (current_ma > SATURATED_HIGH_MA))
    return LoopSignal(share, saturated, fault)


def voltage_signal(voltage_v: Float64, low_v: float, high_v: float) -> LoopSignal:
    """Read a voltage signal [n] as a share of its span, 0 at `low_v` and 1 at `high_v`."""
    equivalent_ma = _ZERO_MA + (voltage_v - low_v) * (_SPAN_MA / (high_v - low_v))
    return current_signal(equivalent_ma)


def signed_root(share: Float64) -> Float64:
    """Give the square root, negative for a negative argument: noise about zero stays unbiased."""
    return np.copysign(np.sqrt(np.abs(share)), share)
