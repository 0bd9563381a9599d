"""Words, units and decimals for what the pages show; every text goes through the catalogue."""

from dataclasses import dataclass

from steadybead_dashboards.catalogue import mark
from steadybead_domain.alarms.model import AlarmState, Priority
from steadybead_domain.live import Fitness, GunState
from steadybead_domain.quantities import Quantity

FITNESS = {
    Fitness.FIT: mark("Fit"),
    Fitness.NOT_FIT: mark("Not fit"),
    Fitness.NO_DATA: mark("No data"),
}
GUN_STATES = {
    GunState.OFF: mark("Off"),
    GunState.WARMING: mark("Warming"),
    GunState.READY: mark("Ready"),
    GunState.HOT: mark("Hot, use unknown"),
    GunState.WELDING: mark("Welding"),
    GunState.COOLING: mark("Cooling"),
    GunState.NO_DATA: mark("No data"),
}
# What a record would show that is started while the gun is in such a state.
START_HINTS = {
    GunState.OFF: mark("The gun is off or cold: a record started now will show that."),
    GunState.WARMING: mark(
        "The gun is still warming: a record started now will show too little heat."
    ),
    GunState.COOLING: mark(
        "The gun is cooling, its heat is off: a record started now will show that."
    ),
    GunState.NO_DATA: mark(
        "Nothing is heard of this gun: a record started now will have no readings."
    ),
}
START_OUTSIDE = mark("A value is outside its window: a record started now will show that.")
PRIORITIES = {
    Priority.HIGH: mark("High"),
    Priority.MEDIUM: mark("Medium"),
    Priority.LOW: mark("Low"),
}
ALARM_STATES = {
    AlarmState.NORMAL: mark("normal"),
    AlarmState.UNACKNOWLEDGED: mark("unacknowledged"),
    AlarmState.ACKNOWLEDGED: mark("acknowledged"),
    AlarmState.RETURNED: mark("returned to normal, unacknowledged"),
    AlarmState.LATCHED_UNACKNOWLEDGED: mark("latched, unacknowledged"),
    AlarmState.LATCHED_ACKNOWLEDGED: mark("latched, acknowledged"),
    AlarmState.SHELVED: mark("shelved"),
    AlarmState.SUPPRESSED: mark("suppressed by design"),
    AlarmState.OUT_OF_SERVICE: mark("out of service"),
}


@dataclass(frozen=True, slots=True)
class QuantityWords:
    """How a quantity is shown: its name, its unit as printed, and the decimals."""

    label: str
    unit: str
    decimals: int


QUANTITIES = {
    Quantity.NOZZLE_TEMPERATURE: QuantityWords(mark("Nozzle temperature"), "°C", 0),
    Quantity.SET_TEMPERATURE: QuantityWords(mark("Set temperature"), "°C", 0),
    Quantity.CONTROLLER_TEMPERATURE: QuantityWords(mark("Controller temperature"), "°C", 0),
    Quantity.TERMINAL_TEMPERATURE: QuantityWords(mark("Terminal temperature"), "°C", 1),
    Quantity.AIR_FLOW: QuantityWords(mark("Air flow"), "L/min", 1),
    Quantity.GUN_INLET_TEMPERATURE: QuantityWords(mark("Gun inlet temperature"), "°C", 1),
    Quantity.HEATER_POWER: QuantityWords(mark("Heater power"), "W", 0),
    Quantity.HEATER_OUTPUT: QuantityWords(mark("Heater output"), "%", 0),
    Quantity.HEATER_CURRENT: QuantityWords(mark("Heater current"), "A", 2),
    Quantity.IN_STAND: QuantityWords(mark("In its stand"), "", 0),
    Quantity.GUN_MOTION: QuantityWords(mark("Gun motion"), "", 2),
    Quantity.CONTACT_FORCE: QuantityWords(mark("Contact force"), "N", 1),
    Quantity.TRAVEL_SPEED: QuantityWords(mark("Travel speed"), "mm/min", 0),
    Quantity.FILTER_PRESSURE_DROP: QuantityWords(mark("Filter pressure drop"), "Pa", 0),
    Quantity.OUTLET_PRESSURE: QuantityWords(mark("Outlet pressure"), "Pa", 0),
    Quantity.INTAKE_TEMPERATURE: QuantityWords(mark("Intake temperature"), "°C", 1),
    Quantity.INTAKE_HUMIDITY: QuantityWords(mark("Intake humidity"), "% RH", 0),
    Quantity.AMBIENT_PRESSURE: QuantityWords(mark("Ambient pressure"), "Pa", 0),
    Quantity.SUPPLY_VOLTAGE: QuantityWords(mark("Supply voltage"), "V", 0),
    Quantity.MOTOR_CURRENT: QuantityWords(mark("Motor current"), "A", 2),
}
GUN_MAIN = (Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW)


def printed(value: float | None, quantity: Quantity) -> str:
    """Print a value with the quantity's decimals; an en dash where there is none."""
    if value is None:
        return "–"
    text = f"{value:.{QUANTITIES[quantity].decimals}f}"
    return "0" if text in {"-0", "-0.0", "-0.00"} else text.replace("-", "−")


def trimmed(limit: float, quantity: Quantity) -> str:
    """Print a limit: like a value, but without zeros at its end."""
    text = printed(limit, quantity)
    return text.rstrip("0").rstrip(".") if "." in text else text
