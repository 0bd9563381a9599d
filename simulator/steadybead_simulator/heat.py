"""The gun: element, tube, nozzle, sensors and controller, stepped through a block.

The controller's limits make the gun the one thing here that must be walked sample by sample; it
is a plain loop over floats, everything around it is computed in arrays.
"""

import math
from dataclasses import dataclass

import numpy as np

from steadybead_domain.readings import Float64

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), CODATA
NOMINAL_KG_S = 1.077e-3  # 50 NL/min
ROOM_K4 = 7.4e9  # (293 K)⁴, what the room radiates back
BURN_OUT_C = 1150.0  # near the limit of nickel-chromium wire in air, from memory
BURN_OUT_S = 60.0  # assumption


@dataclass(frozen=True, slots=True)
class Gun:
    """One gun. Heat capacities in J/K, conductances in W/K (assumptions, for an 800 W gun).

    They are chosen so that the gas is at 300 °C some 80 s after switch-on, the tube needs
    some minutes more (the usual advice is to wait 10 to 15 min), and 50 NL/min at 320 K above
    the inlet take 353 W net (handbook cp) and 90 to 105 W of losses.
    """

    cold_ohm: float = 62.0
    alpha_per_k: float = 1.5e-4  # nickel-chromium wire, handbook order, from memory
    element_j_k: float = 75.0
    element_wa: float = 2.3
    element_loss_w_k: float = 0.02
    radiating_m2: float = 0.0022
    to_tube_w_k: float = 0.03
    tube_j_k: float = 140.0
    tube_wa: float = 0.22
    tube_loss_w_k: float = 0.11
    nozzle_j_k: float = 14.0
    nozzle_wa: float = 0.20
    nozzle_loss_w_k: float = 0.08
    sensor_s: float = 2.8
    wall_share: float = 0.05
    gain_per_k: float = 0.011
    integral_s: float = 55.0


@dataclass(slots=True)
class GunHeat:
    """What a gun carries from sample to sample: temperatures in °C and the controller."""

    element_c: float
    tube_c: float
    nozzle_c: float
    sensor_c: float
    own_c: float
    integral: float = 0.0
    over_hot_s: float = 0.0
    broken: bool = False

    @classmethod
    def cold(cls, room_c: float) -> "GunHeat":
        """Give a gun that has stood long enough."""
        return cls(room_c, room_c, room_c, room_c, room_c)


@dataclass(frozen=True, slots=True, eq=False)
class HeatInputs:
    """One block, float64 [n] unless said otherwise.

    `set_c` is 0 where the heat is off. `error_gain`, `error_k`: what the controller's reading has
    above the sensor (the logged sensor's own errors where it regulates on it); `open_circuit` and
    `stuck_c` (NaN: not stuck) overrule it. `fixed_duty` NaN: closed loop. `moved_mm`: the tip out
    of its place. `draught`: factor on the outer losses.
    """

    dt_s: float
    flow_kg_s: Float64
    inlet_c: Float64
    room_c: Float64
    volts: Float64
    set_c: Float64
    resistance: Float64
    draught: Float64
    error_gain: Float64
    error_k: Float64
    open_circuit: np.ndarray[tuple[int], np.dtype[np.bool_]]
    stuck_c: Float64
    fixed_duty: Float64
    moved_mm: Float64
    on_logged: bool


@dataclass(frozen=True, slots=True, eq=False)
class Heat:
    """The walked block, float64 [n]: °C, W and duty 0..1; `gas_c` is the gas 5 mm inside."""

    gas_c: Float64
    sensor_c: Float64
    own_c: Float64
    element_c: Float64
    tube_c: Float64
    nozzle_c: Float64
    power_w: Float64
    duty: Float64


def walk(gun: Gun, state: GunHeat, x: HeatInputs, cp: float) -> Heat:
    """Walk one block and leave `state` at its end; cp in J/(kg K)."""
    flow_share = np.maximum(x.flow_kg_s / NOMINAL_KG_S, 1e-6)
    mcp = np.maximum(x.flow_kg_s * cp, 1e-5)
    steps = math.ceil(x.dt_s / 1.0)
    dt = x.dt_s / steps
    columns = (
        mcp,
        _reach(gun.element_wa, flow_share, 0.55, mcp),
        _reach(gun.tube_wa, flow_share, 0.7, mcp),
        _reach(gun.nozzle_wa, flow_share, 0.7, mcp),
        1.0 - np.exp(-dt / (gun.sensor_s * flow_share**-0.5).clip(0.2, 45.0)),
        mcp / (mcp + 0.05),
        x.inlet_c,
        x.room_c,
        x.volts * x.volts / (gun.cold_ohm * x.resistance),
        x.set_c,
        x.draught,
        1.0 + x.error_gain,
        x.error_k,
        x.open_circuit,
        x.stuck_c,
        x.fixed_duty,
        0.006 * x.moved_mm,
    )
    rows = list(zip(*(c.tolist() for c in columns), strict=True))
    out = np.array(_loop(gun, state, rows, dt=dt, steps=steps, on_logged=x.on_logged))
    return Heat(*(np.ascontiguousarray(c) for c in out.T))


def _reach(nominal_w_k: float, flow_share: Float64, power: float, mcp: Float64) -> Float64:
    """Give 1 − exp(−NTU), with a heat transfer that goes with a power of the flow."""
    return 1.0 - np.exp(-nominal_w_k * flow_share**power / mcp)


def _loop(
    gun: Gun,
    state: GunHeat,
    rows: list[tuple[float, ...]],
    *,
    dt: float,
    steps: int,
    on_logged: bool,
) -> list[tuple[float, ...]]:
    element, tube, nozzle = state.element_c, state.tube_c, state.nozzle_c
    sensor, own, over_hot = state.sensor_c, state.own_c, state.over_hot_s
    alpha, radiation = gun.alpha_per_k, STEFAN_BOLTZMANN * gun.radiating_m2
    to_element, to_tube, to_nozzle = dt / gun.element_j_k, dt / gun.tube_j_k, dt / gun.nozzle_j_k
    loss_e, loss_et, wall = gun.element_loss_w_k, gun.to_tube_w_k, gun.wall_share
    loss_t, loss_n = gun.tube_loss_w_k, gun.nozzle_loss_w_k
    control = _Controller(gun, state.integral, dt)
    alive = 0.0 if state.broken else 1.0
    out: list[tuple[float, ...]] = []
    for (mcp, reach_e, reach_t, reach_n, follow, gas_share, inlet, room, full_w, wish, draught,
         gain, error, opened, stuck, fixed, away) in rows:  # fmt: skip
        for _ in range(steps):
            seen = (sensor if on_logged else own) * gain + error
            duty = control.duty(wish, seen, stuck, fixed, opened)
            power = alive * duty * full_w / (1.0 + alpha * (element - 20.0))
            gas = inlet + reach_e * (element - inlet)
            hot = element + 273.15
            lost = radiation * (hot * hot * hot * hot - ROOM_K4) + loss_e * (element - room)
            through = loss_et * (element - tube)
            element += to_element * (power - mcp * (gas - inlet) - lost - through)
            given = reach_t * (gas - tube)
            gas -= given
            tube += to_tube * (mcp * given + through - draught * loss_t * (tube - room))
            given = reach_n * (gas - nozzle)
            gas -= given
            nozzle += to_nozzle * (mcp * given - draught * loss_n * (nozzle - room))
            felt = gas_share * gas + (1.0 - gas_share) * nozzle
            felt -= wall * (felt - nozzle) + away * (felt - room)
            sensor += follow * (felt - sensor)
            own += 0.6 * follow * (gas_share * gas + (1.0 - gas_share) * tube - own)
            over_hot = over_hot + dt if element > BURN_OUT_C else 0.0
            alive = 0.0 if over_hot > BURN_OUT_S else alive
        out.append((gas, sensor, own, element, tube, nozzle, power, duty))
    state.element_c, state.tube_c, state.nozzle_c = element, tube, nozzle
    state.sensor_c, state.own_c, state.integral = sensor, own, control.integral
    state.over_hot_s, state.broken = over_hot, alive == 0.0
    return out


class _Controller:
    """Proportional and integral, limited to 0..1, without wind-up beyond its limits."""

    __slots__ = ("_i", "_p", "integral")

    def __init__(self, gun: Gun, integral: float, dt: float) -> None:
        self._p, self._i = gun.gain_per_k, gun.gain_per_k / gun.integral_s * dt
        self.integral = integral

    def duty(  # called a million times a month: names cost time
        self, wish: float, seen: float, stuck: float, fixed: float, opened: float
    ) -> float:
        """Give the share of full power; NaN: not stuck, not fixed."""
        if wish <= 0.0 or opened:
            self.integral = 0.0
            return 0.0
        if fixed == fixed:  # noqa: PLR0124  # NaN is unequal to itself
            return fixed
        lacking = wish - (seen if stuck != stuck else stuck)  # noqa: PLR0124
        duty = self._p * lacking + self.integral
        if 0.0 < duty < 1.0 or (duty >= 1.0) == (lacking < 0.0):
            self.integral += self._i * lacking
        return min(max(duty, 0.0), 1.0)
