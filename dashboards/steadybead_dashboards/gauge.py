"""The seam gauge: a value as a bead over a groove that is the procedure's window.

Two plates with a groove between them, seen end on. The groove is the window. Inside, the bead
lies in the groove; outside, it sits up on a plate, so that place and shape tell before colour.
"""

from dataclasses import dataclass
from enum import StrEnum

WIDTH = 120.0
EDGE = 7.0
GROOVE_LEFT = 42.0
GROOVE_RIGHT = 78.0


class Place(StrEnum):
    """Where a value lies against its window."""

    NO_VALUE = "no value"
    NO_WINDOW = "no window"
    LOW = "low"
    INSIDE = "inside"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class Gauge:
    """Where the bead lies: `x` in the drawing's units; `off_scale` where it is held at an end."""

    place: Place
    x: float
    off_scale: bool


def gauge(value: float | None, low: float | None, high: float | None) -> Gauge:
    """Place a value against a window; a side that is None is open.

    The window fills the groove; outside it the same scale goes on as far as the drawing does.
    With one side open the scale is a tenth of the limit, so that the groove's one wall tells.
    """
    if value is None:
        return Gauge(Place.NO_VALUE, WIDTH / 2, off_scale=False)
    if low is None and high is None:
        return Gauge(Place.NO_WINDOW, WIDTH / 2, off_scale=False)
    bottom, top = _closed(low, high)
    share = (value - bottom) / (top - bottom)
    x = GROOVE_LEFT + share * (GROOVE_RIGHT - GROOVE_LEFT)
    held = min(max(x, EDGE), WIDTH - EDGE)
    return Gauge(_place(value, low, high), round(held, 2), off_scale=held != x)


def _place(value: float, low: float | None, high: float | None) -> Place:
    if low is not None and value < low:
        return Place.LOW
    if high is not None and value > high:
        return Place.HIGH
    return Place.INSIDE


def _closed(low: float | None, high: float | None) -> tuple[float, float]:
    known = low if low is not None else high if high is not None else 0.0
    tenth = max(abs(known) * 0.1, 1.0)
    bottom = known - tenth if low is None else low
    return bottom, high if high is not None and high > bottom else bottom + tenth
