"""What the detectors of one gun see in a block of grid steps."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.diagnosis.limits import GUN_LIMITS, GunLimits
from steadybead_domain.diagnosis.reference_flow import flow_factor
from steadybead_domain.diagnosis.steps import Bool
from steadybead_domain.plant import Station
from steadybead_domain.procedures import Procedure
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64, Int64

HEAT_ON, HEAT_OFF, HEAT_UNKNOWN = 1, 0, -1
Places = Mapping[tuple[Quantity, str | None], Trace]


@dataclass(frozen=True, slots=True)
class Held:
    """Steps `first` … `end`-1 under one weld record (or none) and one procedure (or none)."""

    first: int
    end: int
    weld: str | None
    procedure: Procedure | None


@dataclass(frozen=True, slots=True, eq=False)
class GunSignals:
    """Columns of n steps. `end` int64 [n], the end of each step in µs.

    Windows are NaN where the procedure leaves them open or none is known. `flow_l_min` is in the
    procedure's reference state, `flow_factor` times the channel's own figure. `fluoropolymer`
    marks steps under such a material. `heat` int8 [n]: on 1, off 0, unknown −1. `in_stand` and
    `moving` are NaN where not known.
    """

    end: Int64
    temperature_c: Float64
    set_c: Float64
    flow_l_min: Float64
    heat: npt.NDArray[np.int8]
    in_stand: Float64
    moving: Float64
    welding: Bool
    heat_low_c: Float64
    heat_high_c: Float64
    flow_low_l_min: Float64
    flow_high_l_min: Float64
    fluoropolymer: Bool
    flow_factor: Float64

    def __len__(self) -> int:
        """Count the steps."""
        return len(self.end)


def gun_signals(
    station: Station,
    gun: str,
    places: Places,
    held: Sequence[Held],
    *,
    start: int,
    limits: GunLimits = GUN_LIMITS,
) -> GunSignals:
    """Gather the signals of one gun for the steps that `held` covers."""
    n = held[-1].end
    blank = np.full(n, np.nan)

    def value(quantity: Quantity, owner: str | None = gun) -> Float64:
        trace = places.get((quantity, owner))
        return blank if trace is None else trace.value

    inlet = value(Quantity.GUN_INLET_TEMPERATURE)
    inlet = np.where(np.isnan(inlet), value(Quantity.INTAKE_TEMPERATURE, None), inlet)
    factor = _factor(station, gun, held, inlet, value(Quantity.AMBIENT_PRESSURE, None))
    return GunSignals(
        end=(np.arange(start, start + n) + 1) * STEP,
        temperature_c=value(Quantity.NOZZLE_TEMPERATURE),
        set_c=value(Quantity.SET_TEMPERATURE),
        flow_factor=factor,
        flow_l_min=value(Quantity.AIR_FLOW) * factor,
        heat=_heat(
            value(Quantity.HEATER_OUTPUT),
            value(Quantity.HEATER_POWER),
            value(Quantity.HEATER_CURRENT),
            value(Quantity.SET_TEMPERATURE),
            limits,
        ),
        in_stand=value(Quantity.IN_STAND),
        moving=value(Quantity.GUN_MOTION),
        welding=_column(held, lambda h: h.weld is not None).astype(np.bool_),
        heat_low_c=_column(held, lambda h: _edge(h, "nozzle_temperature", "low")),
        heat_high_c=_column(held, lambda h: _edge(h, "nozzle_temperature", "high")),
        flow_low_l_min=_column(held, lambda h: _edge(h, "air_flow", "low")),
        flow_high_l_min=_column(held, lambda h: _edge(h, "air_flow", "high")),
        fluoropolymer=_column(held, lambda h: is_fluoropolymer(h.procedure)).astype(np.bool_),
    )


FLUOROPOLYMERS = ("PVDF", "ECTFE", "ETFE", "FEP", "PFA", "MFA", "PTFE")


def is_fluoropolymer(procedure: Procedure | None) -> bool:
    """Tell whether the procedure's material gives off fluorine compounds when too hot."""
    return procedure is not None and procedure.material.upper().startswith(FLUOROPOLYMERS)


def meter_reference(station: Station, gun: str) -> FlowReference:
    """Give the gas state of the gun's flow channel."""
    channel = station.channel_of(Quantity.AIR_FLOW, gun)
    meter = None if channel is None else channel.flow
    return FlowReference.ACTUAL if meter is None else meter.reference


def _factor(
    station: Station, gun: str, held: Sequence[Held], air_c: Float64, air_pa: Float64
) -> Float64:
    given = meter_reference(station, gun)
    factor = np.ones(held[-1].end)
    for part in held:
        if part.procedure is not None:
            cut = slice(part.first, part.end)
            wanted = part.procedure.flow_reference
            factor[cut] = flow_factor(given, wanted, air_c[cut], air_pa[cut])
    return factor


def _column(held: Sequence[Held], pick: Callable[[Held], float | None]) -> Float64:
    column = np.full(held[-1].end, np.nan)
    for part in held:
        picked = pick(part)
        column[part.first : part.end] = np.nan if picked is None else picked
    return column


def _edge(held: Held, window: str, edge: str) -> float | None:
    found: float | None = getattr(getattr(held.procedure, window, None), edge, None)
    return found


def _heat(
    output: Float64, power: Float64, current: Float64, set_c: Float64, limits: GunLimits
) -> npt.NDArray[np.int8]:
    heat = np.full(len(output), HEAT_UNKNOWN, np.int8)
    heat[set_c < limits.commanded_c] = HEAT_OFF
    signs = (
        (current, limits.heater_current_a),
        (power, limits.heater_power_w),
        (output, limits.heat_output_pct),
    )
    for column, least in signs:
        known = ~np.isnan(column)
        heat[known] = np.where(column[known] > least, HEAT_ON, HEAT_OFF)
    return heat
