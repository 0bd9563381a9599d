"""Tolerance classes of thermocouples as delivered.

IEC 60584-1:2013 from memory, verify against the standard. Types K, N and J alone: the guns' types.
"""

from typing import Final

# type -> class -> (lowest °C, fixed ±°C, share of |t|, highest °C)
_CLASSES: Final = {
    "K": {1: (-40.0, 1.5, 0.004, 1000.0), 2: (-40.0, 2.5, 0.0075, 1200.0)},
    "N": {1: (-40.0, 1.5, 0.004, 1000.0), 2: (-40.0, 2.5, 0.0075, 1200.0)},
    "J": {1: (-40.0, 1.5, 0.004, 750.0), 2: (-40.0, 2.5, 0.0075, 750.0)},
}


def tolerance_c(letter: str, tolerance_class: int, t_c: float) -> float:
    """Give the ± tolerance in °C of a new thermocouple at t_c.

    Raises ValueError with the remedy where no tolerance is known.
    """
    try:
        low_c, fixed_c, share, high_c = _CLASSES[letter][tolerance_class]
    except KeyError:
        raise ValueError(
            f"no tolerance known for type {letter} class {tolerance_class}: "
            "use type K, J or N of class 1 or 2, or enter a calibration"
        ) from None
    if not low_c <= t_c <= high_c:
        raise ValueError(
            f"type {letter} class {tolerance_class} has no tolerance at {t_c:g} °C: "
            f"it is given from {low_c:g} to {high_c:g} °C"
        )
    return max(fixed_c, share * abs(t_c))
