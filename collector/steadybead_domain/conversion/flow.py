"""Air flow from one reference condition to another, by the principle of the meter.

Air is an ideal gas here; at the pressures of a blower that costs less than 0.1 % (an estimate).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from steadybead_domain.conversion.specs import FlowPrinciple, FlowReference
from steadybead_domain.plant import FlowMeter
from steadybead_domain.readings import Float64

ZERO_C_K: Final = 273.15
NORMAL_PRESSURE_PA: Final = 101_325.0
GAS_CONSTANT: Final = 8.314_462_618  # J/(mol K), CODATA 2018, exact by definition of the units
DRY_AIR_KG_MOL: Final = 0.028_964_420  # ISO 2533, from memory
WATER_KG_MOL: Final = 0.018_015_28


@dataclass(frozen=True, slots=True, eq=False)
class GasState:
    """Air at °C, absolute Pa and relative humidity 0..1, each a number or an array [n]."""

    temperature_c: float | Float64
    pressure_pa: float | Float64
    relative_humidity: float | Float64 = 0.0


# DIN 1343 and ISO 2533 as published; ISO 8778 (ANR) from memory, verify against the standard
REFERENCE_STATES: Final = {
    FlowReference.DIN_1343: GasState(0.0, NORMAL_PRESSURE_PA),
    FlowReference.ISO_2533: GasState(15.0, NORMAL_PRESSURE_PA),
    FlowReference.ANR: GasState(20.0, 100_000.0, 0.65),
}


def saturation_pa(temperature_c: float | Float64) -> Float64:
    """Give the saturation vapour pressure over water in Pa, -45..60 °C (Magnus form, WMO 2008)."""
    t_c = np.asarray(temperature_c, np.float64)
    return np.asarray(611.2 * np.exp(17.62 * t_c / (243.12 + t_c)))


def density_kg_m3(state: GasState) -> Float64:
    """Give the density of the air, moist as it is."""
    kelvin = np.asarray(state.temperature_c, np.float64) + ZERO_C_K
    vapour_pa = _vapour_pa(state)
    dry_pa = state.pressure_pa - vapour_pa
    mass = dry_pa * DRY_AIR_KG_MOL + vapour_pa * WATER_KG_MOL
    return np.asarray(mass / (GAS_CONSTANT * kelvin))


def convert_flow(
    flow: Float64,
    meter: FlowMeter,
    at_meter: GasState,
    to: FlowReference,
    *,
    at_target: GasState | None = None,
    moist: bool = False,
) -> Float64:
    """Convert a meter's figures [n], in any unit of flow, to another reference condition.

    `at_meter` is the true state of the air in the meter. `to` ACTUAL means the flow at
    `at_target`, by default at the meter. Plainly (q_n = q_a · p_a/p_n · T_n/T_a) humidity is
    left aside on both sides; with `moist` the dry air in the moist one is what is conserved.
    Variable-area meters and pressure-drop elements read true at their scale's state alone; at
    another density the true flow follows the square root of the density ratio.
    """
    shown = _state(meter.reference, _scale_or_meter(meter, at_meter))
    target = _state(to, at_target or at_meter)
    if shown is target and not _follows_density(meter):
        return flow
    ratio = _amount(shown, moist=moist) / _amount(target, moist=moist)
    if _follows_density(meter):
        ratio = ratio * density_factor(meter, at_meter, moist=moist)
    return np.asarray(flow * ratio)


def density_factor(meter: FlowMeter, at_meter: GasState, *, moist: bool = False) -> Float64:
    """Give true amount over shown amount of a variable-area meter or pressure-drop element."""
    true, scale = at_meter, scale_state(meter)
    if not moist:
        true = GasState(true.temperature_c, true.pressure_pa)
    return np.asarray(np.sqrt(density_kg_m3(true) / density_kg_m3(scale)))


def scale_state(meter: FlowMeter) -> GasState:
    """Give the state of the air for which the meter's scale was made."""
    return GasState(meter.scale_temperature_c, meter.scale_pressure_pa)


def _follows_density(meter: FlowMeter) -> bool:
    return meter.principle in {FlowPrinciple.VARIABLE_AREA, FlowPrinciple.PRESSURE_DROP}


def _scale_or_meter(meter: FlowMeter, at_meter: GasState) -> GasState:
    """Tell what `actual` means on the scale: a flow at the scale's state, or in the meter."""
    return at_meter if meter.principle is FlowPrinciple.ACTUAL_VOLUME else scale_state(meter)


def _state(reference: FlowReference, actual: GasState) -> GasState:
    return actual if reference is FlowReference.ACTUAL else REFERENCE_STATES[reference]


def _amount(state: GasState, *, moist: bool) -> Float64:
    """Give the amount of gas in a volume, up to a constant: Pa/K."""
    kelvin = np.asarray(state.temperature_c, np.float64) + ZERO_C_K
    vapour_pa = _vapour_pa(state) if moist else 0.0
    return np.asarray((state.pressure_pa - vapour_pa) / kelvin)


def _vapour_pa(state: GasState) -> Float64:
    return np.asarray(state.relative_humidity * saturation_pa(state.temperature_c))
