"""Deadbands, delays and thresholds of the diagnosis: one table of defaults, meant to be edited."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class RangeLimits:
    """How far beyond a window and for how long before it is an alarm, and the way back.

    An alarm comes when the value has been beyond the window by `deadband` for `on_delay_s`; it
    goes when the value has been back inside the window for `off_delay_s`. `source` says where
    the figures come from.
    """

    deadband: float
    unit: str
    on_delay_s: float
    off_delay_s: float
    source: str


_HEAT_BAND = "deadband 1 % of range (EEMUA 191 as quoted by exida, found), span 400 °C; "
_FLOW = RangeLimits(
    2.5,
    "L/min",
    10.0,
    15.0,
    "deadband 5 % of range (EEMUA 191 as quoted by exida, found), span 50 L/min; off-delay 15 s,"
    " the published starting point (from memory); on-delay ours",
)
RANGE_LIMITS: Mapping[str, RangeLimits] = MappingProxyType(
    {
        "heat_low": RangeLimits(
            4.0,
            "Cel",
            45.0,
            20.0,
            _HEAT_BAND + "on-delay over the 30 s that a tacking nozzle needs to heat through"
            " (common practice, no source); off-delay ours: the published starting point of 60 s"
            " (from memory) is slow against a run of a few minutes",
        ),
        "heat_high": RangeLimits(
            4.0,
            "Cel",
            15.0,
            20.0,
            _HEAT_BAND + "delays ours, short because too hot can give off fumes",
        ),
        "flow_low": _FLOW,
        "flow_high": _FLOW,
    }
)


@dataclass(frozen=True, slots=True)
class GunLimits:
    """Thresholds that tell what a gun is doing. All are project assumptions, no source."""

    cold_c: float = 60.0
    below_set_c: float = 10.0
    below_window_c: float = 4.0
    hot_without_procedure_c: float = 200.0
    trend_s: float = 5.0
    trend_c: float = 6.0
    far_below_c: float = 60.0
    flat_s: float = 60.0
    flat_c: float = 2.0
    flat_above_c: float = 150.0
    heat_output_pct: float = 3.0
    heater_power_w: float = 30.0
    heater_current_a: float = 0.3
    heat_off_s: float = 4.0
    commanded_c: float = 50.0
    motion_pause_s: float = 30.0


@dataclass(frozen=True, slots=True)
class AirLimits:
    """When air counts as lost. Project assumptions, no source.

    Less than `share_of_window` of the procedure's lowest flow, or than `least_l_min` without a
    procedure, for `confirm_s`. The element counts as hot from `element_hot_c` at the nozzle until
    the nozzle was below `element_cold_c` in moving air, or `cools_s` after the heat without it.
    """

    share_of_window: float = 0.25
    least_l_min: float = 10.0
    confirm_s: float = 1.5
    back_s: float = 3.0
    element_hot_c: float = 130.0
    element_cold_c: float = 110.0
    cools_s: float = 900.0


@dataclass(frozen=True, slots=True)
class SensorLimits:
    """When a sensor counts as broken or stuck. Project assumptions, no source."""

    broken_s: float = 2.0
    mended_s: float = 5.0
    stuck_hot_s: float = 600.0
    stuck_moving_s: float = 60.0


GUN_LIMITS = GunLimits()
AIR_LIMITS = AirLimits()
SENSOR_LIMITS = SensorLimits()
