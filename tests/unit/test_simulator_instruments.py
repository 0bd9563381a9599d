"""Instruments against gas law and standard tables: what each principle shows of the same air."""

import numpy as np
import pytest

from steadybead_domain.conversion.specs import FlowPrinciple, FlowReference
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, FlowMeter
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_simulator.instruments import Instrument, Surroundings

R_DRY = 287.055
# 50 L/min of actual flow in other states, dry ideal gas (computed from
# q_n = q_a · p_a/p_n · T_n/T_a).
STATES = {
    (20.0, 101_325.0): (46.589, 49.147),
    (20.0, 95_000.0): (43.681, 46.079),
    (35.0, 101_325.0): (44.321, 46.755),
    (0.0, 101_325.0): (50.000, 52.746),
    (23.0, 100_000.0): (45.514, 48.013),
}


def shown(meter: FlowMeter, density: float, *, moisture: float = 0.0) -> float:
    """Give what a meter without errors shows of 50 L/min at this density."""
    channel = Channel(ChannelId("n", "b", "gun-a/flow"), Quantity.AIR_FLOW, "L/min", flow=meter)
    instrument = Instrument(channel, np.random.default_rng(1), 1.0)
    kg_s = np.full(4, 50.0 / 60_000.0 * density)
    around = Surroundings(np.full(4, density), np.full(4, moisture), np.full(4, 20.0))
    return float(instrument._shown(kg_s, around)[0])


def density(t_c: float, pa: float) -> float:
    return pa / (R_DRY * (t_c + 273.15))


@pytest.mark.parametrize("state", STATES)
def test_thermal_mass_meters_show_the_reference_state(state: tuple[float, float]) -> None:
    normal, standard = STATES[state]
    for reference, expected in (
        (FlowReference.DIN_1343, normal),
        (FlowReference.ISO_2533, standard),
    ):
        meter = FlowMeter(FlowPrinciple.THERMAL_MASS, reference)
        assert shown(meter, density(*state)) == pytest.approx(expected, rel=3e-4)


def test_volume_meters_show_what_is_there() -> None:
    assert shown(FlowMeter(), density(35.0, 95_000.0)) == pytest.approx(50.0)


def test_variable_area_meters_follow_the_root_of_the_density() -> None:
    """A float at constant drag: q_indicated = q_actual · sqrt(ρ/ρ_calibration), any textbook."""
    meter = FlowMeter(FlowPrinciple.VARIABLE_AREA)
    light = density(20.0, 81_060.0)
    assert shown(meter, light) == pytest.approx(50.0 * np.sqrt(0.8), rel=1e-3)


def test_thermal_meters_feel_moisture() -> None:
    meter = FlowMeter(FlowPrinciple.THERMAL_MASS, FlowReference.DIN_1343)
    dry, wet = (shown(meter, 1.2, moisture=m) for m in (0.0, 10.0))
    assert 1.004 < wet / dry < 1.02


def read(channel: Channel, true: Float64, seed: int = 3) -> Float64:
    instrument = Instrument(channel, np.random.default_rng(seed), 1.0)
    n = len(true)
    around = Surroundings(np.full(n, 1.2), np.zeros(n), np.full(n, 25.0))
    return instrument.read(np.arange(float(n)), true, around, None, np.random.default_rng(9))


def test_noise_and_resolution_of_a_reading() -> None:
    channel = Channel(ChannelId("n", "b", "gun-a/nozzle"), Quantity.NOZZLE_TEMPERATURE, "Cel")
    raw = read(channel, np.full(2000, 320.0))
    assert np.allclose(raw, np.round(raw, 1))
    assert 0.12 < raw.std() < 0.35
    assert abs(raw.mean() - 320.0) < 0.4 + 0.002 * 320.0


def test_every_instrument_has_its_own_error() -> None:
    channel = Channel(ChannelId("n", "b", "air/filter"), Quantity.FILTER_PRESSURE_DROP, "Pa")
    means = [read(channel, np.full(500, 200.0), seed).mean() for seed in range(30)]
    assert 0.3 < np.std(means) < 2.0


def test_other_units_on_the_wire_keep_the_resolution() -> None:
    channel = Channel(ChannelId("n", "b", "air/filter"), Quantity.FILTER_PRESSURE_DROP, "kPa")
    raw = read(channel, np.full(500, 200.0))
    assert raw.mean() == pytest.approx(0.2, abs=0.005)
    assert len(set(raw.tolist())) > 4
