"""One gun of a station: its valve and nozzle, its heat, its welder's hand."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_simulator import heat
from steadybead_simulator.air import valve_for
from steadybead_simulator.day import Day, GunDay
from steadybead_simulator.gas import mean_cp
from steadybead_simulator.moment import Moment
from steadybead_simulator.people import ROUND, SPEED, TACKING
from steadybead_simulator.randomness import lowpass, wander
from steadybead_simulator.scenario import Setup
from steadybead_simulator.spans import Mask
from steadybead_simulator.thermocouple import ordering_k, ordering_weight

_Q = Quantity
# Loss coefficients of the nozzles, and their size over the round one (heat held and lost).
# 95 m/s in a 5 mm bore at 50 NL/min and 320 °C is 2.6 kPa of velocity pressure (computed);
# the rest: assumption.
_NOZZLES = {SPEED: (1.15e9, 1.5), ROUND: (1.3e9, 1.0), TACKING: (1.6e9, 1.2)}
ELEMENT_AGEING_PER_H = 2e-5  # rise of resistance, 2 % in 1,000 hot hours (assumption)
_HOSE_OFF = 3.0e-5
_METER_DENSITY = 1.27  # some 8 kPa above the hall, 30 °C
_GAS_S = 25.0


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """The gun as the air sees it in one block, float64 [n]; see AirInputs."""

    valve: Float64
    nozzle: Float64
    gas_c: Float64
    leak: Float64


class GunSim:
    """What a gun carries from block to block."""

    def __init__(self, station: Station, name: str, setup: Setup, rng: np.random.Generator) -> None:
        self.name, self._guns = name, len(station.guns)
        self._machine = heat.Gun(
            cold_ohm=62.0 * float(rng.normal(1.0, 0.02)),
            element_j_k=75.0 * float(rng.normal(1.0, 0.05)),
            tube_j_k=140.0 * float(rng.normal(1.0, 0.08)),
            tube_loss_w_k=0.11 * float(rng.normal(1.0, 0.1)),
            wall_share=0.05 * float(rng.uniform(0.6, 1.6)),
        )
        self.state = heat.GunHeat.cold(20.0)
        self._channel = station.channel_of(_Q.NOZZLE_TEMPERATURE, name)
        regulated = self._channel is not None and self._channel.regulated
        self._control = setup.control or ("logged" if regulated else "own")
        self._own_error_k = float(rng.normal(0.0, 2.0))
        self._set_c = setup.set_c + float(rng.choice([-5.0, 0.0, 0.0, 5.0]))
        self._nozzle = SPEED
        self._hot_h = float(rng.uniform(0.0, 800.0))
        self._valve: float | None = None
        self._hot_min = 0.0 if setup.new_thermocouple else math.inf
        self._draught = 0.0
        self._terminal_k = 0.0
        self._gas_c = 20.0
        self._changes: list[tuple[int, str]] = []

    def rest(self, room_c: float, seconds: float) -> None:
        """Cool without air, in closed form, for one block."""
        s, m = self.state, self._machine
        s.element_c = room_c + (s.element_c - room_c) * math.exp(-seconds / 300.0)
        s.tube_c = room_c + (s.tube_c - room_c) * math.exp(-seconds * m.tube_loss_w_k / m.tube_j_k)
        s.nozzle_c = room_c + (s.nozzle_c - room_c) * math.exp(
            -seconds * m.nozzle_loss_w_k / m.nozzle_j_k
        )
        s.sensor_c, s.own_c, s.integral = s.nozzle_c, s.tube_c, 0.0
        self._terminal_k *= math.exp(-seconds / 900.0)
        self._gas_c = s.nozzle_c

    def way(self, now: Moment, days: Iterable[Day], outlet_for: Callable[[float], float]) -> Way:
        """Give valve, nozzle and the gas in it, and remember what the day wants of the gun."""
        t, hall, harm, rng = now.t, now.hall, now.harm, now.rng
        plans = [(d, d.guns[self.name]) for d in days if self.name in d.guns]
        self._read_plan(now, plans)
        valve = self._valves(now, plans, outlet_for)
        shut = ~self._air | harm.active("air_stopped_before_cool", gun=self.name)
        off = harm.active("hose_off", gun=self.name)
        left = 1.0 - np.minimum(harm.amount("air_lost", gun=self.name) / 100.0, 1.0)
        with np.errstate(divide="ignore"):
            valve = np.where(shut | off, np.inf, valve / (left * left))
        bore = 1.0 - harm.amount("nozzle_clogged", gun=self.name) / 100.0
        pressed = 1.0 + 0.04 * self._weld * (1.0 + 0.4 * rng.standard_normal(len(t)))
        nozzle = self._nozzle_loss * pressed / (bore * bore)
        nozzle = nozzle * (1.0 + 0.012 * rng.standard_normal(len(t)))
        wished = np.where(self._heat_on, self._set_c, hall.t_c)
        gas = lowpass(wished, math.exp(-now.dt_s / _GAS_S), self._gas_c)
        self._gas_c = float(gas[-1])
        return Way(valve, nozzle, gas, np.where(off & self._air, _HOSE_OFF, 0.0))

    def _read_plan(self, now: Moment, plans: list[tuple[Day, GunDay]]) -> None:
        t = now.t

        def mask(what: str) -> Mask:
            found: Mask = np.zeros(len(t), np.bool_)
            for _, plan in plans:
                found |= getattr(plan, what).at(t)
            return found

        stopped = now.harm.active("air_stopped_before_cool", gun=self.name)
        self._air, self._weld, self._in_hand = mask("air"), mask("weld"), mask("hand")
        self._heat_on = mask("heat") & ~stopped
        loss = np.full(len(t), _NOZZLES[self._nozzle][0])
        self._changes = [(0, self._nozzle)]
        for _, plan in plans:
            for at_s, kind in plan.nozzles:
                if now.holds(at_s) and kind != self._nozzle:
                    first = int(np.searchsorted(t, at_s))
                    loss[first:] = _NOZZLES[kind][0]
                    self._nozzle = kind
                    self._changes.append((first, kind))
        self._nozzle_loss = loss

    def _valves(
        self,
        now: Moment,
        plans: list[tuple[Day, GunDay]],
        outlet_for: Callable[[float], float],
    ) -> Float64:
        """Set the valve when the welder does, for the pressure that he finds then."""
        t, pressure_pa = now.t, float(now.hall.pressure_pa[0])
        if self._valve is None:
            self._valve = self._opened(50.0, self._guns, outlet_for, pressure_pa)
        valve = np.full(len(t), self._valve)
        for day, plan in plans:
            for at_s, flow in plan.valve:
                if now.holds(at_s):
                    around = np.array([at_s + 5.0])
                    open_guns = sum(bool(g.air.at(around)[0]) for g in day.guns.values())
                    self._valve = self._opened(flow, max(open_guns, 1), outlet_for, pressure_pa)
                    valve[int(np.searchsorted(t, at_s)) :] = self._valve
        return valve

    def _opened(
        self, flow_l_min: float, guns: int, outlet_for: Callable[[float], float], pressure_pa: float
    ) -> float:
        flow_kg_s = flow_l_min / 60_000.0 * _METER_DENSITY
        outlet = outlet_for(guns * flow_kg_s)
        nozzle = _NOZZLES[self._nozzle][0]
        return valve_for(flow_kg_s, outlet, nozzle, self._set_c, pressure_pa)

    def blow(
        self, now: Moment, volts: Float64, flow_kg_s: Float64, rise_k: Float64
    ) -> dict[Quantity, Float64]:
        """Walk the gun through the block; give the true value of each of its quantities."""
        t, dt, hall, rng = now.t, now.dt_s, now.hall, now.rng
        inlet = hall.t_c + 0.75 * rise_k
        inputs = self._inputs(now, volts, flow_kg_s, inlet)
        cp = float(mean_cp(np.array([20.0]), np.array([self._set_c]))[0])
        walked = self._walk(inputs, cp, float(hall.t_c[-1]))
        ordering = self._ordering(walked.sensor_c, hall.t_c, dt)
        shown = walked.sensor_c + ordering
        turbulence = 0.35 * wander(rng, len(t), 0.6, 0.0) * (flow_kg_s > 1e-5)
        shown = shown + turbulence * (walked.sensor_c - hall.t_c) / 300.0
        grip = 0.018 * (walked.tube_c - hall.t_c)
        handle = lowpass(grip, math.exp(-dt / 900.0), self._terminal_k)
        self._terminal_k = float(handle[-1])
        volts_heater = np.maximum(volts, 1.0)
        pace = 280.0 if self._nozzle == SPEED else 75.0
        hand = self._weld * (1.0 + 0.08 * rng.standard_normal(len(t)))
        return {
            _Q.NOZZLE_TEMPERATURE: shown,
            _Q.SET_TEMPERATURE: np.full(len(t), self._set_c),
            _Q.CONTROLLER_TEMPERATURE: walked.own_c + self._own_error_k,
            _Q.TERMINAL_TEMPERATURE: hall.t_c + handle,
            _Q.AIR_FLOW: flow_kg_s,
            _Q.GUN_INLET_TEMPERATURE: inlet,
            _Q.HEATER_POWER: walked.power_w,
            _Q.HEATER_OUTPUT: 100.0 * walked.duty,
            _Q.HEATER_CURRENT: walked.power_w / volts_heater,
            _Q.IN_STAND: (~self._in_hand).astype(np.float64),
            _Q.GUN_MOTION: self._in_hand.astype(np.float64),
            _Q.CONTACT_FORCE: 17.0 * hand,
            _Q.TRAVEL_SPEED: pace * hand,
        }

    def _inputs(
        self, now: Moment, volts: Float64, flow_kg_s: Float64, inlet: Float64
    ) -> heat.HeatInputs:
        n, dt, hall, harm, rng = now.n, now.dt_s, now.hall, now.harm, now.rng
        logged = self._control == "logged"
        name = None if self._channel is None else self._channel.id.channel
        worse = harm.of_channel(name) if logged and name is not None else None
        self._hot_h += float(np.count_nonzero(self._heat_on)) * dt / 3600.0
        ageing: Float64 = np.full(n, 1.0 + ELEMENT_AGEING_PER_H * self._hot_h)
        ageing = ageing + harm.amount("element_ageing", gun=self.name) / 100.0
        broken = harm.active("element_break", gun=self.name)
        stir = wander(rng, n, math.exp(-dt / 40.0), self._draught)
        self._draught = float(stir[-1])
        gain, offset = np.zeros(n), np.full(n, 0.0 if logged else self._own_error_k)
        opened, stuck = np.zeros(n, np.bool_), np.full(n, np.nan)
        if logged:
            offset = offset + self._ordering(np.full(n, self._set_c), hall.t_c, 0.0)
        if worse is not None:
            swapped = np.where(worse.swapped, -2.0, 0.0)
            gain = worse.gain + swapped + np.where(worse.wrong, 0.33, 0.0)
            offset = offset + worse.offset - swapped * hall.t_c
            opened = worse.opened
            stuck = np.where(worse.stuck, self.state.sensor_c, np.nan)
        moved = harm.amount("tip_moved", channel=name) if name is not None else np.zeros(n)
        duty = np.full(n, np.nan)
        if self._control == "open":
            full_w = volts[0] ** 2 / self._machine.cold_ohm
            duty = np.full(n, (1.33 * (self._set_c - 20.0)) / full_w)
        return heat.HeatInputs(
            dt, flow_kg_s, inlet, hall.t_c, volts, np.where(self._heat_on, self._set_c, 0.0),
            np.where(broken, np.inf, ageing), 1.0 + 0.15 * stir + 0.25 * self._in_hand,
            gain, offset, opened, stuck, duty, moved, logged,
        )  # fmt: skip

    def _walk(self, inputs: heat.HeatInputs, cp: float, room_c: float) -> heat.Heat:
        """Walk from nozzle change to nozzle change; the new nozzle comes almost cold."""
        ends = [first for first, _ in self._changes[1:]] + [len(inputs.flow_kg_s)]
        parts = []
        for (first, nozzle), last in zip(self._changes, ends, strict=True):
            if first > 0:
                self.state.nozzle_c = room_c + 0.15 * (self.state.nozzle_c - room_c)
            if last > first:
                machine = self._with(nozzle)
                parts.append(heat.walk(machine, self.state, _cut(inputs, first, last), cp))
        if len(parts) == 1:
            return parts[0]
        names = heat.Heat.__dataclass_fields__
        return heat.Heat(*(np.concatenate([getattr(p, n) for p in parts]) for n in names))

    def _with(self, nozzle: str) -> heat.Gun:
        """Give the gun with this nozzle on: a bigger one holds and loses more heat."""
        size = _NOZZLES[nozzle][1]
        m = self._machine
        return replace(
            m,
            nozzle_j_k=size * m.nozzle_j_k,
            nozzle_wa=size * m.nozzle_wa,
            nozzle_loss_w_k=size * m.nozzle_loss_w_k,
        )

    def _ordering(self, sensor_c: Float64, room_c: Float64, dt: float) -> Float64:
        """Give what a new type K reads high by; `dt` 0 only looks."""
        if math.isinf(self._hot_min):
            return np.zeros(len(sensor_c))
        self._hot_min += float(ordering_weight(sensor_c).sum()) * dt / 60.0
        return ordering_k(self._hot_min) * (sensor_c - room_c) / 325.0


def _cut(inputs: heat.HeatInputs, first: int, last: int) -> heat.HeatInputs:
    if first == 0 and last == len(inputs.flow_kg_s):
        return inputs
    parts = {
        name: getattr(inputs, name)[first:last]
        for name in heat.HeatInputs.__dataclass_fields__
        if name not in {"dt_s", "on_logged"}
    }
    return replace(inputs, **parts)
