"""Gas conversion against ISO, DIN and handbook figures."""

import math

import numpy as np
import pytest

from steadybead_domain.conversion.flow import (
    REFERENCE_STATES,
    GasState,
    convert_flow,
    density_factor,
    density_kg_m3,
    saturation_pa,
)
from steadybead_domain.conversion.specs import FlowPrinciple, FlowReference
from steadybead_domain.plant import FlowMeter

ACTUAL, DIN, ISO, ANR = FlowReference
NORMAL = FlowReference.DIN_1343
# q_n = q_a · (p_a/p_n) · (T_n/T_a), worked by hand with the states of DIN 1343, ISO 2533 and
# ISO 8778 for 50 L/min actual
TABLE = [
    (20.0, 101_325.0, 46.589, 49.147, 50.663),
    (20.0, 95_000.0, 43.681, 46.079, 47.500),
    (35.0, 101_325.0, 44.321, 46.755, 48.196),
    (0.0, 101_325.0, 50.000, 52.746, 54.372),
    (23.0, 100_000.0, 45.514, 48.013, 49.493),
]


def one(
    flow: float, meter: FlowMeter, at: GasState, to: FlowReference, *, moist: bool = False
) -> float:
    return float(convert_flow(np.array([flow]), meter, at, to, moist=moist)[0])


@pytest.mark.parametrize(("t_c", "pa", "din", "iso", "anr"), TABLE)
def test_an_actual_volume_meter(t_c: float, pa: float, din: float, iso: float, anr: float) -> None:
    at = GasState(t_c, pa)
    found = [one(50.0, FlowMeter(), at, to) for to in (DIN, ISO, ANR)]
    assert found == pytest.approx([din, iso, anr], abs=6e-4)
    assert one(50.0, FlowMeter(), at, ACTUAL) == 50.0


def test_densities_are_the_handbooks() -> None:
    """DIN 1343: 1.292 (1.2929 real gas, tables); ISO 2533: 1.2250; ISO 8778: 1.185, from memory."""
    din, iso, anr = (float(density_kg_m3(REFERENCE_STATES[r])) for r in (DIN, ISO, ANR))
    assert (din, iso) == pytest.approx((1.2929, 1.2250), rel=6e-4)
    assert anr == pytest.approx(1.185, rel=4e-3)


@pytest.mark.parametrize(("t_c", "pa"), [(0.0, 611.2), (20.0, 2339.0), (40.0, 7384.0)])
def test_saturation_pressure_is_the_steam_tables(t_c: float, pa: float) -> None:
    """IAPWS steam tables; the Magnus form is good to about 0.3 % here."""
    assert float(saturation_pa(t_c)) == pytest.approx(pa, rel=4e-3)


def test_dry_normal_flow_leaves_the_vapour_out() -> None:
    """30 °C and 80 % RH: dry partial pressure 101325 - 0.8 · 4246 Pa (steam tables)."""
    at = GasState(30.0, 101_325.0, 0.8)
    dry_share = (101_325.0 - 0.8 * 4246.0) / 101_325.0
    plain = one(50.0, FlowMeter(), at, NORMAL)
    assert one(50.0, FlowMeter(), at, NORMAL, moist=True) == pytest.approx(
        plain * dry_share, rel=2e-4
    )


def test_anr_air_is_its_own_reference() -> None:
    at = GasState(20.0, 100_000.0, 0.65)
    assert one(50.0, FlowMeter(), at, ANR, moist=True) == pytest.approx(50.0)


def test_a_thermal_mass_meter_does_not_see_the_state_of_the_air() -> None:
    meter = FlowMeter(FlowPrinciple.THERMAL_MASS, NORMAL)
    for at in (GasState(20.0, 101_325.0), GasState(35.0, 95_000.0)):
        assert one(50.0, meter, at, NORMAL) == 50.0
        assert one(50.0, meter, at, ISO) == pytest.approx(50 * 288.15 / 273.15)
    warm = one(50.0, meter, GasState(35.0, 95_000.0), ACTUAL)
    assert warm == pytest.approx(50 * (101_325 / 95_000) * (308.15 / 273.15))


def test_a_variable_area_meter_follows_the_root_of_density() -> None:
    """Scale for 20 °C and 101.325 kPa; at 2 bar absolute the true actual flow is smaller by √."""
    meter = FlowMeter(FlowPrinciple.VARIABLE_AREA)
    at = GasState(20.0, 202_650.0)
    assert one(50.0, meter, GasState(20.0, 101_325.0), ACTUAL) == pytest.approx(50.0)
    assert one(50.0, meter, at, ACTUAL) == pytest.approx(50.0 / math.sqrt(2))
    assert one(50.0, meter, at, NORMAL) == pytest.approx(46.589 * math.sqrt(2), abs=1e-3)
    assert float(density_factor(meter, at)) == pytest.approx(math.sqrt(2))


def test_a_variable_area_meter_with_a_normal_scale() -> None:
    """A scale in normal litres made for 20 °C and 101.325 kPa, used at 40 °C: √(293.15/313.15)."""
    meter = FlowMeter(FlowPrinciple.VARIABLE_AREA, NORMAL)
    at = GasState(40.0, 101_325.0)
    assert one(50.0, meter, at, NORMAL) == pytest.approx(50.0 * math.sqrt(293.15 / 313.15))


def test_a_pressure_drop_element_obeys_the_same_root() -> None:
    floating = FlowMeter(FlowPrinciple.VARIABLE_AREA)
    element = FlowMeter(FlowPrinciple.PRESSURE_DROP)
    at = GasState(35.0, 95_000.0)
    assert one(50.0, element, at, ISO) == one(50.0, floating, at, ISO)


def test_actual_flow_elsewhere() -> None:
    """Warm compressed air at the meter, told as the cold ambient air that was drawn in."""
    at, ambient = GasState(40.0, 110_000.0), GasState(20.0, 100_000.0)
    found = convert_flow(np.array([50.0]), FlowMeter(), at, ACTUAL, at_target=ambient)
    assert found[0] == pytest.approx(50.0 * 1.1 * 293.15 / 313.15)


def test_states_may_be_arrays() -> None:
    at = GasState(np.array([20.0, 35.0]), np.array([101_325.0, 101_325.0]))
    found = convert_flow(np.array([50.0, 50.0]), FlowMeter(), at, NORMAL)
    assert found == pytest.approx([46.589, 44.321], abs=6e-4)


def test_heating_power_of_fifty_normal_litres() -> None:
    """50 NL/min is 1.077 g/s; 20 to 340 °C at cp 1.025 kJ/(kg K) takes about 353 W."""
    mass_g_s = 50.0 / 60.0 * float(density_kg_m3(REFERENCE_STATES[DIN]))
    assert mass_g_s == pytest.approx(1.077, abs=1e-3)
    assert mass_g_s * 1.025 * 320.0 == pytest.approx(353.0, abs=1.0)
