"""Air as a gas: density, moisture, viscosity."""

import numpy as np

from steadybead_domain.readings import Float64

R_DRY = 287.055  # J/(kg K), 8.314462618 J/(mol K) over 28.9647 g/mol
R_VAPOUR = 461.52  # J/(kg K)
CP_DRY = 1006.0  # J/(kg K) near 300 K, handbook value, from memory
KELVIN = 273.15
DENSITY_DIN_1343 = 1.2923  # kg/m³ at 273.15 K and 101.325 kPa, dry ideal gas
VISCOSITY_20 = 1.813e-5  # Pa s at 20 °C, by Sutherland's law below


def saturation_pa(t_c: Float64) -> Float64:
    """Give the saturation pressure of water in Pa (Magnus form, WMO guide no. 8, from memory)."""
    return 611.2 * np.exp(17.62 * t_c / (243.12 + t_c))


def density(t_c: Float64, pressure_pa: Float64, vapour_pa: Float64) -> Float64:
    """Give the density of moist air in kg/m³, ideal gas, [n]."""
    kelvin = t_c + KELVIN
    return (pressure_pa - vapour_pa) / (R_DRY * kelvin) + vapour_pa / (R_VAPOUR * kelvin)


def viscosity(t_c: Float64) -> Float64:
    """Give the dynamic viscosity of air in Pa s by Sutherland's law (1.458e-6, 110.4 K)."""
    kelvin = t_c + KELVIN
    return 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)


def mean_cp(t_low_c: Float64, t_high_c: Float64) -> Float64:
    """Give the mean specific heat of dry air in J/(kg K) between two temperatures.

    A parabola through the handbook's 1006 (300 K), 1030 (500 K) and 1075 (700 K) J/(kg K), table
    values of dry air at 1 bar, from memory.
    """
    middle = 0.5 * (t_low_c + t_high_c) + KELVIN - 300.0
    return CP_DRY + 0.0675 * middle + 2.625e-4 * middle * middle
