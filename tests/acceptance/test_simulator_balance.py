"""What the channels of one station say together holds to physics, in steady state."""

import dataclasses

import numpy as np
import pytest

from simulated_shop import LOOP, Shop
from steadybead_simulator.scenario import Mains, Scenario, Setup, Weather

START, END = 1500.0, 3000.0
LOSSES_W = (40.0, 150.0)


@pytest.fixture(scope="module")
def shop() -> Shop:
    return Shop(LOOP, 3600.0)


def density_at_meter(shop: Shop) -> float:
    """Give the density from ambient and outlet pressure and the gun's inlet temperature."""
    kelvin = shop.mean("gun-a/inlet", START, END) + 273.15
    pressure = shop.mean("air/ambient", START, END) + shop.mean("air/outlet", START, END)
    return pressure / (287.055 * kelvin)


def gas_w(shop: Shop) -> float:
    """Give ṁ·cp·ΔT from the channels, cp = 1.023 kJ/(kg K) for dry air (handbook)."""
    mass = shop.mean("gun-a/flow", START, END) / 60_000.0 * density_at_meter(shop)
    rise = shop.mean("gun-a/nozzle", START, END) - shop.mean("gun-a/inlet", START, END)
    return mass * 1023.0 * rise


def test_power_is_heat_in_the_gas_and_a_loss(shop: Shop) -> None:
    loss = shop.mean("gun-a/power", START, END) - gas_w(shop)
    assert LOSSES_W[0] < loss < LOSSES_W[1]


def test_the_loss_is_the_guns_own_at_any_flow(shop: Shop) -> None:
    """A loss learnt at one flow predicts the power at another within some percent."""
    less = dataclasses.replace(LOOP.welders[0], flow_l_min=42.0)
    other = Shop(Scenario(**{**_members(LOOP), "welders": (less,)}), 3600.0)
    learnt = shop.mean("gun-a/power", START, END) - gas_w(shop)
    expected = gas_w(other) + learnt
    assert gas_w(other) < 0.9 * gas_w(shop)
    assert other.mean("gun-a/power", START, END) == pytest.approx(expected, rel=0.04)


def _members(scenario: Scenario) -> dict[str, object]:
    return {n: getattr(scenario, n) for n in Scenario.__dataclass_fields__}


def test_thin_air_carries_less_mass_at_the_same_volume(shop: Shop) -> None:
    """p = p0·exp(−h/8,434 m): 1,880 m higher, the same weather has 0.80 of the pressure."""
    high = Scenario(**{**_members(LOOP), "weather": Weather(altitude_m=2000.0)})
    mountain = Shop(high, 3600.0)
    ratio = mountain.mean("air/ambient", START, END) / shop.mean("air/ambient", START, END)
    assert ratio == pytest.approx(np.exp(-1880.0 / 8434.0), rel=0.006)
    assert density_at_meter(mountain) < 0.84 * density_at_meter(shop)


def test_less_voltage_needs_more_output_not_more_power(shop: Shop) -> None:
    """Closed loop at P = u·V²/R: the output rises with 1/V², the power stays."""
    low = Shop(Scenario(**{**_members(LOOP), "mains": Mains(207.0, 0.3)}), 3600.0)
    ratio = low.mean("gun-a/output", START, END) / shop.mean("gun-a/output", START, END)
    volts = shop.mean("air/supply", START, END) / low.mean("air/supply", START, END)
    assert ratio == pytest.approx(volts**2, rel=0.04)
    power = low.mean("gun-a/power", START, END) / shop.mean("gun-a/power", START, END)
    assert power == pytest.approx(1.0, abs=0.03)


def test_constant_power_heats_inversely_to_the_flow() -> None:
    """Open loop: less flow, hotter gas; ΔT ∝ 1/flow less what the hotter gun loses."""
    free = (Setup("*", set_c=320.0, control="open"),)
    shops = []
    for flow in (50.0, 40.0):
        welder = dataclasses.replace(LOOP.welders[0], flow_l_min=flow)
        scenario = Scenario(**{**_members(LOOP), "setups": free, "welders": (welder,)})
        shops.append(Shop(scenario, 3600.0))
    rise = [s.mean("gun-a/nozzle", START, END) - s.mean("gun-a/inlet", START, END) for s in shops]
    flow = [s.mean("gun-a/flow", START, END) for s in shops]
    assert flow[0] / flow[1] == pytest.approx(1.25, rel=0.04)
    assert 1.10 < rise[1] / rise[0] < flow[0] / flow[1]
    power = [s.mean("gun-a/power", START, END) for s in shops]
    assert power[1] == pytest.approx(power[0], rel=0.01)


def test_compression_warms_the_air_by_8_to_20_k(shop: Shop) -> None:
    rise = shop.mean("gun-a/inlet", START, END) - shop.mean("air/intake", START, END)
    assert 8.0 < rise < 20.0


def test_no_reading_is_too_clean(shop: Shop) -> None:
    """Noise with memory: the nozzle's reading is no white noise, and never stands still."""
    value = shop.between("gun-a/nozzle", START, END).value
    value = value - value.mean()
    memory = float((value[1:] * value[:-1]).mean() / (value * value).mean())
    assert 0.5 < memory < 0.99
    assert 0.3 < value.std() < 4.0
    for channel in ("gun-a/flow", "gun-a/power", "air/filter", "air/outlet", "air/supply"):
        assert shop.between(channel, START, END).value.std() > 0.0, channel


def test_two_guns_share_the_air(shop: Shop) -> None:
    one = dataclasses.replace(LOOP.setups[0], guns_in_use=1)
    alone = Shop(Scenario(**{**_members(LOOP), "setups": (one,)}), 1800.0)
    assert alone.mean("gun-b/flow", 900.0, 1700.0) < 1.0
    assert shop.mean("gun-b/flow", 900.0, 1700.0) > 45.0
    assert alone.mean("air/outlet", 900.0, 1700.0) > shop.mean("air/outlet", 900.0, 1700.0) + 300.0


def test_meters_stand_near_zero_without_air() -> None:
    idle = Shop(Scenario(**{**_members(LOOP), "setups": (Setup("*", guns_in_use=0),)}), 600.0)
    assert np.abs(idle.mean("gun-a/flow", 10.0, 590.0)) < 0.5
    assert np.abs(idle.mean("air/filter", 10.0, 590.0)) < 1.5
    assert np.abs(idle.mean("air/outlet", 10.0, 590.0)) < 25.0
