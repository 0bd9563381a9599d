"""The quantities a channel can carry, their engineering units and who owns them."""

from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """What a channel measures; the names are the plant file's."""

    NOZZLE_TEMPERATURE = "nozzle_temperature"
    SET_TEMPERATURE = "set_temperature"
    CONTROLLER_TEMPERATURE = "controller_temperature"
    TERMINAL_TEMPERATURE = "terminal_temperature"
    AIR_FLOW = "air_flow"
    GUN_INLET_TEMPERATURE = "gun_inlet_temperature"
    HEATER_POWER = "heater_power"
    HEATER_OUTPUT = "heater_output"
    HEATER_CURRENT = "heater_current"
    IN_STAND = "in_stand"
    GUN_MOTION = "gun_motion"
    CONTACT_FORCE = "contact_force"
    TRAVEL_SPEED = "travel_speed"
    FILTER_PRESSURE_DROP = "filter_pressure_drop"
    OUTLET_PRESSURE = "outlet_pressure"
    INTAKE_TEMPERATURE = "intake_temperature"
    INTAKE_HUMIDITY = "intake_humidity"
    AMBIENT_PRESSURE = "ambient_pressure"
    SUPPLY_VOLTAGE = "supply_voltage"
    MOTOR_CURRENT = "motor_current"

    @property
    def facts(self) -> "QuantityFacts":
        """Give unit, owner and physical limits."""
        return _FACTS[self]


@dataclass(frozen=True, slots=True)
class QuantityFacts:
    """The engineering unit (SenML or UCUM-like spelling), the owner and the physical limits.

    A converted value outside `low`..`high` cannot be real: the reading is bad, out of physical
    range. The limits are project assumptions, wide on purpose.
    """

    unit: str
    of_gun: bool
    low: float
    high: float


_FACTS = {
    Quantity.NOZZLE_TEMPERATURE: QuantityFacts("Cel", True, -40.0, 900.0),
    Quantity.SET_TEMPERATURE: QuantityFacts("Cel", True, 0.0, 900.0),
    Quantity.CONTROLLER_TEMPERATURE: QuantityFacts("Cel", True, -40.0, 900.0),
    Quantity.TERMINAL_TEMPERATURE: QuantityFacts("Cel", True, -40.0, 125.0),
    Quantity.AIR_FLOW: QuantityFacts("L/min", True, -20.0, 1000.0),
    Quantity.GUN_INLET_TEMPERATURE: QuantityFacts("Cel", True, -40.0, 150.0),
    Quantity.HEATER_POWER: QuantityFacts("W", True, -50.0, 10_000.0),
    Quantity.HEATER_OUTPUT: QuantityFacts("%", True, -1.0, 101.0),
    Quantity.HEATER_CURRENT: QuantityFacts("A", True, -1.0, 50.0),
    Quantity.IN_STAND: QuantityFacts("/", True, 0.0, 1.0),
    Quantity.GUN_MOTION: QuantityFacts("/", True, 0.0, 1.0),
    Quantity.CONTACT_FORCE: QuantityFacts("N", True, -50.0, 500.0),
    Quantity.TRAVEL_SPEED: QuantityFacts("mm/min", True, -5000.0, 5000.0),
    Quantity.FILTER_PRESSURE_DROP: QuantityFacts("Pa", False, -500.0, 20_000.0),
    Quantity.OUTLET_PRESSURE: QuantityFacts("Pa", False, -5_000.0, 1_100_000.0),
    Quantity.INTAKE_TEMPERATURE: QuantityFacts("Cel", False, -40.0, 80.0),
    Quantity.INTAKE_HUMIDITY: QuantityFacts("%RH", False, 0.0, 105.0),
    Quantity.AMBIENT_PRESSURE: QuantityFacts("Pa", False, 50_000.0, 115_000.0),
    Quantity.SUPPLY_VOLTAGE: QuantityFacts("V", False, 0.0, 600.0),
    Quantity.MOTOR_CURRENT: QuantityFacts("A", False, -1.0, 100.0),
}
