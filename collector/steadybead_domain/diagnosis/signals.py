"""What the detectors of one gun see in a block of grid steps."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.diagnosis.limits import GUN_LIMITS, GunLimits
from steadybead_domain.diagnosis.meter_factor import MeterFactor
from steadybead_domain.diagnosis.steps import Bool
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Station
from steadybead_domain.procedures import Procedure
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64, Int64

HEAT_ON, HEAT_OFF, HEAT_UNKNOWN = 1, 0, -1
Places = Mapping[tuple[Quantity, str | None], Trace]


class Traces:
    """The traces of a station's block, by channel and by what is measured where."""

    def __init__(self, station: Station, traces: Mapping[str, Trace], n: int) -> None:
        self.by_channel = traces
        self.blank = np.full(n, np.nan)
        places: dict[tuple[Quantity, str | None], Trace] = {}
        for channel in station.channels:
            places.setdefault((channel.quantity, channel.gun), traces[channel.id.channel])
        self.places: Places = places

    def value(self, quantity: Quantity, gun: str | None = None) -> Float64:
        """Give a column by what is measured where, all NaN if there is no such channel."""
        trace = self.places.get((quantity, gun))
        return self.blank if trace is None else trace.value

    def of(self, channel: ChannelId) -> Float64:
        """Give a channel's column."""
        return self.by_channel[channel.channel].value


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
    `moving` are NaN where not known. `flow_units`: up to which step which unit holds.
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
    flow_units: tuple[tuple[int, str], ...]

    def flow_unit(self, step: int) -> str:
        """Give the unit of the flow at a step, its reference state with it."""
        return next(unit for end, unit in self.flow_units if step < end)

    def __len__(self) -> int:
        """Count the steps."""
        return len(self.end)


def gun_signals(
    gun: str,
    traces: Traces,
    held: Sequence[Held],
    meter: MeterFactor,
    *,
    start: int,
    limits: GunLimits = GUN_LIMITS,
) -> GunSignals:
    """Gather the signals of one gun for the steps that `held` covers."""
    n = held[-1].end

    def value(quantity: Quantity) -> Float64:
        return traces.value(quantity, gun)

    factor = np.ones(n)
    for part in held:
        if part.procedure is not None:
            cut = slice(part.first, part.end)
            factor[cut] = meter.factor(traces.of, part.procedure.flow_reference, cut)
    return GunSignals(
        end=(np.arange(start, start + n) + 1) * STEP,
        temperature_c=value(Quantity.NOZZLE_TEMPERATURE),
        set_c=value(Quantity.SET_TEMPERATURE),
        flow_factor=factor,
        flow_units=tuple((part.end, _unit(part, meter)) for part in held),
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
_FLUOROPOLYMER = re.compile(rf"(?<![A-Z])(?:{'|'.join(FLUOROPOLYMERS)})(?![A-Z])", re.IGNORECASE)


def is_fluoropolymer(procedure: Procedure | None) -> bool:
    """Tell whether the procedure's material, however worded, gives off fluorine compounds."""
    return procedure is not None and _FLUOROPOLYMER.search(procedure.material) is not None


def _unit(part: Held, meter: MeterFactor) -> str:
    procedure = part.procedure
    return f"L/min {(procedure.flow_reference if procedure else meter.meter.reference).value}"


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
