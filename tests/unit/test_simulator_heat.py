"""The gun's heat against the energy balance and the figures of the trade."""

from dataclasses import replace

import numpy as np
import pytest

from steadybead_simulator.heat import NOMINAL_KG_S, Gun, GunHeat, Heat, HeatInputs, walk

CP = 1023.0


def inputs(
    seconds: int, *, flow_kg_s: float = NOMINAL_KG_S, set_c: float = 340.0, volts: float = 230.0,
    duty: float = np.nan, on_logged: bool = True, dt_s: float = 1.0,
) -> HeatInputs:  # fmt: skip
    n = round(seconds / dt_s)

    def all_of(value: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.full(n, value)

    return HeatInputs(
        dt_s, all_of(flow_kg_s), all_of(20.0), all_of(20.0), all_of(volts), all_of(set_c),
        all_of(1.0), all_of(1.0), all_of(0.0), all_of(0.0), np.zeros(n, np.bool_),
        all_of(np.nan), all_of(duty), all_of(0.0), on_logged,
    )  # fmt: skip


def settled(x: HeatInputs, gun: Gun | None = None) -> Heat:
    return walk(gun or Gun(), GunHeat.cold(20.0), x, CP)


def test_energy_balance_in_steady_state() -> None:
    """P = ṁ·cp·ΔT + what tube, nozzle and element lose to the room, all of it accounted for."""
    gun, heat = Gun(), settled(inputs(4000))
    element, tube, nozzle = heat.element_c[-1], heat.tube_c[-1], heat.nozzle_c[-1]
    outside = gun.tube_loss_w_k * (tube - 20.0) + gun.nozzle_loss_w_k * (nozzle - 20.0)
    hot = element + 273.15
    outside += 5.670374419e-8 * gun.radiating_m2 * (hot**4 - 7.4e9)
    outside += gun.element_loss_w_k * (element - 20.0)
    gas = NOMINAL_KG_S * CP * (heat.gas_c[-1] - 20.0)
    assert heat.power_w[-1] == pytest.approx(gas + outside, rel=2e-3)
    assert 40.0 < outside < 130.0


def test_50_normal_litres_heated_by_320_k_take_353_w_net() -> None:
    """Handbook cp: 50 NL/min (1.077 g/s) from 20 to 340 °C take about 353 W."""
    heat = settled(inputs(4000))
    gas_w = NOMINAL_KG_S * CP * (heat.gas_c[-1] - 20.0)
    assert gas_w * 320.0 / (heat.gas_c[-1] - 20.0) == pytest.approx(353.0, rel=0.01)


def test_constant_power_heats_inversely_to_the_flow() -> None:
    """Constant heater power: ΔT ∝ 1/flow, so 50 → 40 L/min raises it by 25 %, less the losses."""
    base = settled(inputs(4000, duty=0.5))
    less = settled(inputs(4000, duty=0.5, flow_kg_s=0.8 * NOMINAL_KG_S))
    net = [
        flow * CP * (h.gas_c[-1] - 20.0)
        for h, flow in ((base, NOMINAL_KG_S), (less, 0.8 * NOMINAL_KG_S))
    ]
    rise = (less.gas_c[-1] - 20.0) / (base.gas_c[-1] - 20.0)
    assert rise == pytest.approx(1.25 * net[1] / net[0], rel=1e-6)
    assert 1.15 < rise < 1.25


def test_power_goes_with_voltage_squared() -> None:
    """At a fixed duty P = V²/R; the element's resistance moves by little over a percent."""
    low, high = (settled(inputs(4000, duty=0.4, volts=v)) for v in (207.0, 230.0))
    assert low.power_w[-1] / high.power_w[-1] == pytest.approx(0.81, rel=0.01)


def test_controller_holds_the_logged_sensor() -> None:
    heat = settled(inputs(1500))
    assert heat.sensor_c[-300:].mean() == pytest.approx(340.0, abs=0.5)


def test_drift_of_a_regulated_sensor_moves_the_power_not_the_reading() -> None:
    x = inputs(3000)
    drifted = settled(replace(x, error_k=np.full(3000, 15.0)))
    sound = settled(x)
    assert drifted.sensor_c[-1] + 15.0 == pytest.approx(340.0, abs=0.5)
    assert drifted.power_w[-1] < 0.97 * sound.power_w[-1]


def test_warm_up_time() -> None:
    """Common practice, no source: a minute or two to the gas, some minutes to the metal."""
    heat = settled(inputs(1800))
    ready = int(np.argmax(heat.sensor_c > 0.9 * 340.0))
    assert 45 < ready < 150
    assert heat.power_w[:20].min() > 750.0
    late = np.abs(heat.tube_c - heat.tube_c[-1]) < 0.05 * (heat.tube_c[-1] - 20.0)
    assert 180 < int(np.argmax(late)) < 1500


def test_without_air_the_reading_falls_while_the_element_burns() -> None:
    gun, state = Gun(), GunHeat.cold(20.0)
    walk(gun, state, inputs(1500), CP)
    lost = walk(gun, state, inputs(60, flow_kg_s=0.0), CP)
    assert lost.sensor_c[-1] < lost.sensor_c[0] - 20.0
    assert lost.element_c[-1] > lost.element_c[0] + 200.0
    assert lost.duty[-1] == 1.0


def test_element_burns_out_without_air_at_last() -> None:
    gun, state = Gun(), GunHeat.cold(20.0)
    walk(gun, state, inputs(600), CP)
    lost = walk(gun, state, inputs(900, flow_kg_s=0.0), CP)
    assert state.broken
    assert lost.power_w[-1] == 0.0
    assert lost.element_c.max() < 1500.0


def test_broken_element_takes_no_power() -> None:
    heat = settled(replace(inputs(300), resistance=np.full(300, np.inf)))
    assert heat.power_w.max() == 0.0


def test_open_circuit_at_the_controller_takes_the_heat_off() -> None:
    heat = settled(replace(inputs(300), open_circuit=np.ones(300, np.bool_)))
    assert heat.power_w.max() == 0.0


def test_heat_off_air_on_cools() -> None:
    gun, state = Gun(), GunHeat.cold(20.0)
    walk(gun, state, inputs(1500), CP)
    cooling = walk(gun, state, inputs(300, set_c=0.0), CP)
    assert np.all(np.diff(cooling.element_c) < 0.0)
    assert cooling.element_c[-1] < 60.0


def test_finer_steps_give_the_same_curve() -> None:
    coarse, fine = settled(inputs(600)), settled(inputs(600, dt_s=0.2))
    assert np.abs(fine.sensor_c[4::5] - coarse.sensor_c).max() < 8.0
    assert fine.sensor_c[-1] == pytest.approx(coarse.sensor_c[-1], abs=0.5)


def test_blocks_join_without_a_seam() -> None:
    gun, state = Gun(), GunHeat.cold(20.0)
    parts = [walk(gun, state, inputs(150), CP).sensor_c for _ in range(2)]
    assert np.array_equal(np.concatenate(parts), settled(inputs(300)).sensor_c)
