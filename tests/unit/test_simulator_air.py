"""Air against gas tables, fan laws and filter practice."""

import numpy as np
import pytest

from steadybead_domain.readings import Float64
from steadybead_simulator.air import (
    REFERENCE_FLOW_M3_S,
    AirInputs,
    Blower,
    Filter,
    solve,
    valve_for,
)
from steadybead_simulator.gas import density, mean_cp, saturation_pa, viscosity

NOZZLE = 1.15e9


def one(value: float) -> Float64:
    return np.array([value])


def inputs(
    *, speed: float = 0.955, filter_pa: float = 60.0, valves: tuple[float, ...] = (6.3e9,),
    hot_c: float = 320.0, t_c: float = 20.0, pressure_pa: float = 101_325.0, leak: float = 0.0,
) -> AirInputs:  # fmt: skip
    n = len(valves)
    return AirInputs(
        one(t_c), one(pressure_pa), one(0.0), one(speed), one(1.0), one(filter_pa),
        [one(v) for v in valves], [one(NOZZLE)] * n, [one(hot_c)] * n, one(leak),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("t_c", "pa", "kg_m3"),
    [(0.0, 101_325.0, 1.2923), (15.0, 101_325.0, 1.2250), (20.0, 100_000.0, 1.1884)],
)
def test_density_of_dry_air(t_c: float, pa: float, kg_m3: float) -> None:
    """DIN 1343, ISO 2533 (1.225 kg/m³) and ISO 1217 conditions."""
    assert density(one(t_c), one(pa), one(0.0))[0] == pytest.approx(kg_m3, abs=2e-4)


def test_density_of_moist_air() -> None:
    """ANR of ISO 8778: 20 °C, 100 kPa, 65 % RH, computed 1.1815 kg/m³ (moist ideal gas)."""
    vapour = 0.65 * saturation_pa(one(20.0))
    assert density(one(20.0), one(100_000.0), vapour)[0] == pytest.approx(1.1815, abs=5e-4)


def test_saturation_pressure() -> None:
    """Steam tables: 2,339 Pa at 20 °C, 7,384 Pa at 40 °C (from memory)."""
    assert saturation_pa(np.array([20.0, 40.0])) == pytest.approx([2339.0, 7384.0], rel=0.004)


def test_viscosity() -> None:
    """Handbook: 1.72e-5 Pa s at 0 °C, 1.81e-5 at 20 °C, 2.17e-5 at 100 °C (from memory)."""
    assert viscosity(np.array([0.0, 20.0, 100.0])) == pytest.approx(
        [1.72e-5, 1.81e-5, 2.17e-5], rel=0.01
    )


def test_mean_cp() -> None:
    """Dry air between 20 and 340 °C: about 1.025 kJ/(kg K), handbook."""
    assert mean_cp(one(20.0), one(340.0))[0] == pytest.approx(1025.0, rel=0.004)


def test_pressures_balance() -> None:
    """Blower lift = filter drop + outlet pressure, at the flow that solves all three."""
    blower, x = Blower(), inputs()
    air = solve(blower, x)
    q = air.total_kg_s / air.intake_density
    share = q / (0.955 * blower.most_m3_s)
    curve = 1.0 - blower.bend * share - (1.0 - blower.bend) * share**2
    lift = blower.head_pa * air.intake_density / 1.2 * 0.955**2 * curve
    assert lift == pytest.approx(air.filter_drop_pa + air.outlet_pa, rel=1e-9)
    assert air.gun_kg_s[0] == pytest.approx(air.total_kg_s, rel=1e-9)


def test_fan_laws() -> None:
    """Against a system without a laminar part: Q ∝ n, Δp ∝ n², P ∝ n³ (any textbook).

    Only the gas compressed before the valve departs from it, by the ratio of its densities.
    """
    slow = solve(Blower(), inputs(speed=0.5, filter_pa=0.0))
    fast = solve(Blower(), inputs(speed=1.0, filter_pa=0.0))
    assert fast.total_kg_s[0] / slow.total_kg_s[0] == pytest.approx(2.0, rel=0.03)
    assert fast.outlet_pa[0] / slow.outlet_pa[0] == pytest.approx(4.0, rel=0.03)
    flow_work = [float(a.total_kg_s[0] * a.outlet_pa[0]) for a in (fast, slow)]
    assert flow_work[0] / flow_work[1] == pytest.approx(8.0, rel=0.05)


def test_constant_speed_moves_constant_volume() -> None:
    """Mass flow ∝ density at constant speed (any textbook): thin air on a mountain."""
    low, high = solve(Blower(), inputs()), solve(Blower(), inputs(pressure_pa=80_000.0))
    volume = [float(a.total_kg_s[0] / a.intake_density[0]) for a in (low, high)]
    assert volume[1] == pytest.approx(volume[0], rel=0.02)
    assert high.total_kg_s[0] / low.total_kg_s[0] == pytest.approx(80_000 / 101_325, rel=0.02)


def test_250_pa_moves_the_flow_by_one_to_two_and_a_half_percent() -> None:
    """Common practice, no source: a coarse filter's final drop against a 5–10 kPa system."""
    valves = (6.3e9, 6.3e9)
    clean = solve(Blower(), inputs(filter_pa=0.0, valves=valves))
    full = solve(Blower(), inputs(filter_pa=250.0, valves=valves))
    assert 5_000.0 < clean.outlet_pa[0] < 10_500.0
    lost = 1.0 - full.gun_kg_s[0][0] / clean.gun_kg_s[0][0]
    assert 0.008 < lost < 0.025


def test_second_gun_takes_air_from_the_first() -> None:
    alone = solve(Blower(), inputs(valves=(6.3e9, np.inf)))
    both = solve(Blower(), inputs(valves=(6.3e9, 6.3e9)))
    assert alone.gun_kg_s[1][0] == 0.0
    assert 0.90 < both.gun_kg_s[0][0] / alone.gun_kg_s[0][0] < 0.99
    assert both.outlet_pa[0] < alone.outlet_pa[0]
    assert both.filter_drop_pa[0] > 1.5 * alone.filter_drop_pa[0]


def test_everything_shut_stands_at_the_blowers_head() -> None:
    air = solve(Blower(), inputs(valves=(np.inf,)))
    assert air.total_kg_s[0] < 1e-6
    assert air.outlet_pa[0] == pytest.approx(12_500.0 * 0.955**2 * 1.2041 / 1.2, rel=1e-3)


def test_stopped_blower_moves_nothing() -> None:
    air = solve(Blower(), inputs(speed=0.0))
    assert air.total_kg_s[0] == pytest.approx(0.0, abs=1e-9)


def test_compression_heats_the_air_by_10_to_25_k() -> None:
    assert 10.0 < solve(Blower(), inputs(valves=(6.3e9, 6.3e9))).outlet_rise_k[0] < 25.0


def test_hot_nozzle_lets_less_through() -> None:
    cold, hot = solve(Blower(), inputs(hot_c=20.0)), solve(Blower(), inputs(hot_c=320.0))
    assert 0.85 < hot.total_kg_s[0] / cold.total_kg_s[0] < 0.97


def test_valve_is_set_for_the_wanted_flow() -> None:
    blower = Blower()
    found = solve(blower, inputs())
    wanted = 1.077e-3
    valve = valve_for(wanted, float(found.outlet_pa[0]), NOZZLE, 320.0, 101_325.0)
    assert solve(blower, inputs(valves=(valve,))).total_kg_s[0] == pytest.approx(wanted, rel=0.08)


def r2(x: Float64, y: Float64) -> float:
    return float(np.corrcoef(x, y)[0, 1] ** 2)


def test_cake_is_linear_and_depth_log_linear() -> None:
    """Filter drag K1 + K2·W (textbook); real runs were log-linear: R² 0.973–0.995 for ln Δp.

    Against time, linear fits of those runs had only R² 0.857–0.940.
    """
    grams = np.linspace(0.0, 2.4, 200)
    cake, depth = (Filter(kind=k).drop_pa(grams) for k in ("cake", "depth"))
    assert r2(grams, cake) == pytest.approx(1.0)
    assert r2(grams, np.log(depth)) == pytest.approx(1.0)
    assert r2(grams, depth) < 0.94
    mixed = Filter(kind="mixed").drop_pa(grams)
    assert r2(grams, np.log(mixed)) > 0.973
    assert np.all((cake[1:] < mixed[1:]) & (mixed[1:] < depth[1:]))


@pytest.mark.parametrize("kind", ["cake", "depth", "mixed"])
def test_dust_for_a_drop(kind: str) -> None:
    loaded = Filter(kind=kind)
    grams = loaded.dust_g(250.0)
    assert loaded.drop_pa(one(grams))[0] == pytest.approx(250.0, rel=1e-6)


def test_filter_drop_scales_with_flow_and_viscosity() -> None:
    """Laminar: Δp ∝ μ·V, so the drop at 100 L/min is the filter's name at 20 °C."""
    air = solve(Blower(), inputs(filter_pa=100.0, valves=(6.3e9, 6.3e9)))
    volume = air.total_kg_s / air.intake_density
    assert air.filter_drop_pa / volume == pytest.approx(100.0 / REFERENCE_FLOW_M3_S, rel=1e-3)
