"""Heat that air takes up, from a published formula.

cp/R of air as an ideal gas, T in K, 300–1000 K: 3.653 − 1.337e-3 T + 3.294e-6 T² − 1.913e-9 T³ +
0.2763e-12 T⁴ (Moran and Shapiro, Fundamentals of Engineering Thermodynamics, table A-21). It lies
within 0.1 % of NBS Circular 564 from 300 to 700 K and is used a little below, down to 0 °C.
Moisture is left out: 10 g/kg raise cp by about 0.9 % (own estimate), which a learnt factor takes
up as far as it is constant.
"""

import numpy as np

from steadybead_domain.conversion.flow import (
    DRY_AIR_KG_MOL,
    GAS_CONSTANT,
    REFERENCE_STATES,
    ZERO_C_K,
    GasState,
    density_kg_m3,
)
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.readings import Float64

_R_KJ_KG_K = GAS_CONSTANT / (1000.0 * DRY_AIR_KG_MOL)
_CP = _R_KJ_KG_K * np.array([3.653, -1.337e-3, 3.294e-6, -1.913e-9, 0.2763e-12])
_ENTHALPY = np.polynomial.polynomial.polyint(_CP)
_AT_ZERO_C = np.polynomial.polynomial.polyval(ZERO_C_K, _ENTHALPY)
_NORMAL = REFERENCE_STATES[FlowReference.DIN_1343]
NORMAL_DENSITY_KG_M3 = float(density_kg_m3(GasState(_NORMAL.temperature_c, _NORMAL.pressure_pa)))


def specific_heat_kj_kg_k(temperature_c: Float64) -> Float64:
    """Give cp of dry air at °C, shape as given."""
    kelvin = np.asarray(temperature_c, np.float64) + ZERO_C_K
    return np.asarray(np.polynomial.polynomial.polyval(kelvin, _CP), np.float64)


def enthalpy_kj_kg(temperature_c: Float64) -> Float64:
    """Give the enthalpy of dry air over 0 °C, the formula integrated; shape as given."""
    kelvin = np.asarray(temperature_c, np.float64) + ZERO_C_K
    at = np.polynomial.polynomial.polyval(kelvin, _ENTHALPY)
    return np.asarray(at - _AT_ZERO_C, np.float64)


def mass_flow_g_s(normal_l_min: Float64) -> Float64:
    """Give the mass flow of a flow in normal litres (DIN 1343) a minute."""
    return np.asarray(normal_l_min, np.float64) * NORMAL_DENSITY_KG_M3 / 60.0


def air_heat_w(normal_l_min: Float64, inlet_c: Float64, outlet_c: Float64) -> Float64:
    """Give the heat that the air takes up from inlet to outlet: g/s · kJ/kg = W."""
    return mass_flow_g_s(normal_l_min) * (enthalpy_kj_kg(outlet_c) - enthalpy_kj_kg(inlet_c))
