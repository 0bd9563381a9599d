"""What the plant file says about a channel's conversion."""

from dataclasses import dataclass
from enum import StrEnum


class FlowReference(StrEnum):
    """The state of the gas to which a flow figure refers."""

    ACTUAL = "actual"
    DIN_1343 = "DIN 1343"
    ISO_2533 = "ISO 2533"
    ANR = "ANR"


class FlowPrinciple(StrEnum):
    """How a flow meter works, which decides how its figure depends on the gas."""

    THERMAL_MASS = "thermal_mass"
    ACTUAL_VOLUME = "actual_volume"
    VARIABLE_AREA = "variable_area"
    PRESSURE_DROP = "pressure_drop"


@dataclass(frozen=True, slots=True)
class Thermocouple:
    """mV of a thermocouple; `cold_junction` is a channel id of the same station, or fixed °C."""

    type: str
    cold_junction: str | float


@dataclass(frozen=True, slots=True)
class CurrentLoop:
    """4–20 mA, linear between two values in unit `to`; fault bands give `loop fault`."""

    at_4_ma: float
    at_20_ma: float
    to: str


@dataclass(frozen=True, slots=True)
class VoltageLoop:
    """0–10 V (or any two volt points), linear between two values in unit `to`."""

    at_low: float
    at_high: float
    to: str
    low_v: float = 0.0
    high_v: float = 10.0


@dataclass(frozen=True, slots=True)
class PulseCounter:
    """A running count of pulses; the flow is the count's rise over time.

    `litres_per_pulse` at the meter; `rolls_over_at` is the first count that never shows.
    """

    litres_per_pulse: float
    rolls_over_at: int = 2**32


@dataclass(frozen=True, slots=True)
class SquareRoot:
    """A pressure-drop flow element: flow = `at_full` · sqrt(drop / `full_drop_pa`)."""

    at_full: float
    full_drop_pa: float
    to: str


@dataclass(frozen=True, slots=True)
class Linear:
    """value = `offset` + `factor` · wire value, in unit `to`."""

    factor: float
    offset: float
    to: str


Conversion = Thermocouple | CurrentLoop | VoltageLoop | PulseCounter | SquareRoot | Linear
