"""Flow figures brought from one gas reference state to another, dry ideal gas.

q2 = q1 · (p1 / p2) · (T2 / T1); any textbook. Humidity is left out (below 1 % in a shop).
"""

from dataclasses import dataclass

import numpy as np

from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.readings import Float64

DEFAULT_TEMPERATURE_C = 20.0
DEFAULT_PRESSURE_PA = 101_325.0
ICE_POINT_K = 273.15


@dataclass(frozen=True, slots=True)
class GasState:
    """Temperature in K and pressure in Pa."""

    temperature_k: float
    pressure_pa: float


STATES = {
    FlowReference.DIN_1343: GasState(273.15, 101_325.0),
    FlowReference.ISO_2533: GasState(288.15, 101_325.0),
    FlowReference.ANR: GasState(293.15, 100_000.0),
}


def flow_factor(
    given: FlowReference, wanted: FlowReference, temperature_c: Float64, pressure_pa: Float64
) -> Float64:
    """Give the factor from a flow in `given` to one in `wanted`, shape [n].

    `temperature_c` and `pressure_pa` [n] are the air's own at the meter; where they are NaN,
    20 °C and 101.325 kPa stand in.
    """
    own_k = np.where(np.isnan(temperature_c), DEFAULT_TEMPERATURE_C, temperature_c) + ICE_POINT_K
    own_pa = np.where(np.isnan(pressure_pa), DEFAULT_PRESSURE_PA, pressure_pa)
    if given is wanted:
        return np.ones_like(own_k)
    first, second = STATES.get(given), STATES.get(wanted)
    first_k = own_k if first is None else first.temperature_k
    first_pa = own_pa if first is None else first.pressure_pa
    second_k = own_k if second is None else second.temperature_k
    second_pa = own_pa if second is None else second.pressure_pa
    return np.asarray((first_pa / second_pa) * (second_k / first_k) * np.ones_like(own_k))
