"""Heat in the air and burn-in of type K beside published figures."""

from itertools import pairwise

import numpy as np
import pytest

from drift_shop import Q
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.diagnosis.air_properties import (
    NORMAL_DENSITY_KG_M3,
    air_heat_w,
    enthalpy_kj_kg,
    mass_flow_g_s,
    specific_heat_kj_kg_k,
)
from steadybead_domain.diagnosis.burn_in import expected_rise_c, may_burn_in
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel

# NBS Circular 564 (1955), as reprinted in thermodynamics tables: cp of air, kJ/(kg K)
NBS_CP = {300: 1.005, 350: 1.008, 400: 1.013, 450: 1.020, 500: 1.029, 600: 1.051, 700: 1.075}


@pytest.mark.parametrize(("kelvin", "cp"), NBS_CP.items())
def test_specific_heat_agrees_with_the_table(kelvin: int, cp: float) -> None:
    found = specific_heat_kj_kg_k(np.array(kelvin - 273.15))
    assert float(found) == pytest.approx(cp, rel=0.001)


def test_density_at_normal_state() -> None:
    assert abs(NORMAL_DENSITY_KG_M3 / 1.2929 - 1) < 1e-3  # DIN 1343 table value


def test_fifty_normal_litres_carry_what_the_handbook_cp_gives() -> None:
    assert float(mass_flow_g_s(np.array(50.0))) == pytest.approx(1.077, abs=0.001)
    heat = float(air_heat_w(np.array(50.0), np.array(20.0), np.array(340.0)))
    assert heat == pytest.approx(353.0, rel=0.005)  # cp 1.025 kJ/(kg K) over 20–340 °C


def test_enthalpy_is_the_integral_of_the_specific_heat() -> None:
    t = np.linspace(0.0, 340.0, 20_001)
    summed = np.trapezoid(specific_heat_kj_kg_k(t), t)
    assert float(enthalpy_kj_kg(np.array(340.0))) == pytest.approx(summed, rel=1e-8)


@pytest.mark.parametrize(("hours", "rise"), [(5 / 60, 0.9), (45 / 60, 1.9), (7.0, 3.7)])
def test_burn_in_passes_through_the_published_points(hours: float, rise: float) -> None:
    assert expected_rise_c(hours) == pytest.approx(rise)  # thermocouple maker's note, 350 °C


def test_burn_in_rises_all_the_time() -> None:
    rise = [expected_rise_c(hours) for hours in np.linspace(0.0, 7.0, 200)]
    assert rise[0] == 0.0
    assert all(earlier < later for earlier, later in pairwise(rise))


@pytest.mark.parametrize(("couple", "may"), [("K", True), ("N", False), (None, True)])
def test_only_a_couple_that_may_be_of_type_k_burns_in(couple: str | None, may: bool) -> None:
    conversion = None if couple is None else Thermocouple(couple, 20.0)
    channel = Channel(ChannelId("a", "b", "gun-a/t"), Q.NOZZLE_TEMPERATURE, "mV", conversion)
    assert may_burn_in(channel) is may
    assert not may_burn_in(None)
