"""Heat that air takes up, from a published formula.

cp of air as an ideal gas, kJ/(kmol K), T in K, 273–1800 K: 28.11 + 0.1967e-2 T + 0.4802e-5 T² −
1.966e-9 T³, greatest error 0.72 %, mean 0.33 % (Kyle, Chemical and Process Thermodynamics, 1984,
as reprinted in the tables of thermodynamics textbooks). Moisture is left out: 10 g/kg raise cp by
about 0.9 % (own estimate), which a learnt factor takes up as far as it is constant.
"""

import numpy as np

from steadybead_domain.conversion.flow import (
    DRY_AIR_KG_MOL,
    REFERENCE_STATES,
    ZERO_C_K,
    GasState,
    density_kg_m3,
)
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.readings import Float64

_CP = (28.11, 0.1967e-2, 0.4802e-5, -1.966e-9)
_DRY_G_MOL = 1000.0 * DRY_AIR_KG_MOL
_NORMAL = REFERENCE_STATES[FlowReference.DIN_1343]
NORMAL_DENSITY_KG_M3 = float(density_kg_m3(GasState(_NORMAL.temperature_c, _NORMAL.pressure_pa)))


def specific_heat_kj_kg_k(temperature_c: Float64) -> Float64:
    """Give cp of dry air at °C, shape as given."""
    kelvin = np.asarray(temperature_c, np.float64) + ZERO_C_K
    return np.asarray(np.polynomial.polynomial.polyval(kelvin, _CP) / _DRY_G_MOL, np.float64)


def enthalpy_kj_kg(temperature_c: Float64) -> Float64:
    """Give the enthalpy of dry air over 0 °C, the formula integrated; shape as given."""
    kelvin = np.asarray(temperature_c, np.float64) + ZERO_C_K
    whole = np.polynomial.polynomial.polyint(_CP)
    at = np.polynomial.polynomial.polyval(kelvin, whole)
    return (at - np.polynomial.polynomial.polyval(ZERO_C_K, whole)) / _DRY_G_MOL


def mass_flow_g_s(normal_l_min: Float64) -> Float64:
    """Give the mass flow of a flow in normal litres (DIN 1343) a minute."""
    return np.asarray(normal_l_min, np.float64) * NORMAL_DENSITY_KG_M3 / 60.0


def air_heat_w(normal_l_min: Float64, inlet_c: Float64, outlet_c: Float64) -> Float64:
    """Give the heat that the air takes up from inlet to outlet: g/s · kJ/kg = W."""
    return mass_flow_g_s(normal_l_min) * (enthalpy_kj_kg(outlet_c) - enthalpy_kj_kg(inlet_c))
