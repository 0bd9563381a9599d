"""The way of the air: intake filter, blower, hoses, valves set by hand, nozzles.

Pressures balance at every moment: what the blower lifts is what filter, hoses, valves and nozzles
take. With a blower curve and losses that are quadratic in the flow this has a closed form, so a
whole block is solved without iteration over samples.
"""

from dataclasses import dataclass

import numpy as np

from steadybead_domain.readings import Float64
from steadybead_simulator.gas import CP_DRY, KELVIN, R_DRY, VISCOSITY_20, density, viscosity

REFERENCE_DENSITY = 1.2
REFERENCE_FLOW_M3_S = 100.0 / 60_000.0  # filters are named by their drop at 100 L/min
MIXED_DEPTH_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Blower:
    """A small side-channel blower (assumptions, of the usual size for two guns).

    `head_pa` at standstill of the air, `most_m3_s` with nothing before it, both at full speed and
    1.2 kg/m³; `bend`: share of the curve that is straight, the rest is a parabola. Pressure goes
    with density and speed squared, volume with speed (fan laws).
    """

    head_pa: float = 12_500.0
    most_m3_s: float = 420.0 / 60_000.0
    bend: float = 0.75
    efficiency: float = 0.36
    slip: float = 0.045
    run_up_s: float = 2.5


@dataclass(frozen=True, slots=True)
class Filter:
    """An intake filter: `clean_pa` at 100 L/min, and grams of dust that add as much again."""

    clean_pa: float = 60.0
    grams: float = 1.0
    kind: str = "mixed"

    def drop_pa(self, dust_g: Float64) -> Float64:
        """Give the drop at 100 L/min and 20 °C with so much dust in it.

        Cake: linear in the dust (filter drag, K1 + K2·W). Depth: exponential, as the pores close.
        Mixed: the mean of both. The laws are textbook forms; the grams are an assumption.
        """
        load = dust_g / self.grams
        share = {"cake": 0.0, "depth": 1.0, "mixed": MIXED_DEPTH_SHARE}[self.kind]
        depth = np.exp(np.minimum(load, 6.0)) + np.maximum(load - 6.0, 0.0) * np.exp(6.0)
        drop: Float64 = self.clean_pa * ((1.0 - share) * (1.0 + load) + share * depth)
        return drop

    def dust_g(self, drop_pa: float) -> float:
        """Give the dust that makes this drop (bisection; the laws rise)."""
        low, high = 0.0, 1e6 * self.grams
        for _ in range(80):
            middle = 0.5 * (low + high)
            if float(self.drop_pa(np.array([middle]))[0]) < drop_pa:
                low = middle
            else:
                high = middle
        return high


@dataclass(frozen=True, slots=True, eq=False)
class AirInputs:
    """One block, float64 [n] unless said otherwise.

    `speed`: blower speed over nominal; `head`: share of the blower's head that wear left;
    `filter_pa`: laminar drop at 100 L/min and 20 °C, 0 without a filter; `valve`: per gun, the
    valve's loss coefficient (Pa s²/kg² · kg/m³), inf when shut; `nozzle`: the same for the
    nozzle; `nozzle_c`: the gas in it; `open_share`: what faults leave of the bore; `leak`:
    conductance of a leak.
    """

    t_c: Float64
    pressure_pa: Float64
    vapour_pa: Float64
    speed: Float64
    head: Float64
    filter_pa: Float64
    valve: list[Float64]
    nozzle: list[Float64]
    nozzle_c: list[Float64]
    leak: Float64


@dataclass(frozen=True, slots=True, eq=False)
class Air:
    """The solved block, float64 [n]: mass flows in kg/s, pressures in Pa above the hall's."""

    intake_density: Float64
    filter_drop_pa: Float64
    outlet_pa: Float64
    outlet_rise_k: Float64
    total_kg_s: Float64
    gun_kg_s: list[Float64]
    shaft_w: Float64


def solve(blower: Blower, x: AirInputs) -> Air:
    """Find the operating point of every sample of a block."""
    rho = density(x.t_c, x.pressure_pa, x.vapour_pa)
    conductance = _conductances(blower, x, rho)
    total = x.leak + sum(conductance)
    ratio = rho / REFERENCE_DENSITY
    head = blower.head_pa * x.head * ratio
    straight = head * blower.bend * x.speed / blower.most_m3_s
    parabola = head * (1.0 - blower.bend) / blower.most_m3_s**2
    resistance = x.filter_pa / REFERENCE_FLOW_M3_S * viscosity(x.t_c) / VISCOSITY_20
    shut = total < 1e-12
    # p = (rho Q)² / G² with G in kg/(s Pa^0.5)
    system = np.where(shut, 1e20, (rho / np.where(shut, 1.0, total)) ** 2)
    a, b, c = parabola + system, straight + resistance, head * x.speed**2
    volume = (np.sqrt(b * b + 4.0 * a * c) - b) / (2.0 * a)
    outlet = system * volume**2
    filter_drop = resistance * volume
    lift = outlet + filter_drop
    shaft = volume * lift / blower.efficiency + 60.0 * x.speed**3
    rise = lift / (np.maximum(rho, 0.1) * CP_DRY * blower.efficiency)
    root = np.sqrt(np.maximum(outlet, 0.0))
    guns = [g * root for g in conductance]
    return Air(rho, filter_drop, outlet, rise, rho * volume, guns, shaft)


def _conductances(blower: Blower, x: AirInputs, rho: Float64) -> list[Float64]:
    """Give each gun's mass flow per root of pressure: valve and nozzle in a row.

    The gas before the valve is compressed and warm, in the nozzle it is hot and thin.
    """
    guess_pa = 0.55 * blower.head_pa * x.speed**2
    before = rho * (x.pressure_pa + guess_pa) / x.pressure_pa * (x.t_c + KELVIN)
    found = []
    for valve, nozzle, hot_c in zip(x.valve, x.nozzle, x.nozzle_c, strict=True):
        loss = valve * (x.t_c + 12.0 + KELVIN) / before
        loss = loss + nozzle * (hot_c + KELVIN) * R_DRY / x.pressure_pa
        found.append(1.0 / np.sqrt(loss))
    return found


def valve_for(
    flow_kg_s: float, outlet_pa: float, nozzle: float, hot_c: float, pressure_pa: float
) -> float:
    """Give the valve's loss coefficient that lets this flow through at this pressure."""
    hot = nozzle * (hot_c + KELVIN) * R_DRY / pressure_pa
    density_before = (pressure_pa + outlet_pa) / (R_DRY * (30.0 + KELVIN))
    return max(outlet_pa / flow_kg_s**2 - hot, 0.02 * outlet_pa / flow_kg_s**2) * density_before
