"""The conversions that need no memory: from wire columns to marked values, one closure each."""

from collections.abc import Callable

import numpy as np

from steadybead_domain.conversion.loops import (
    LoopSignal,
    current_signal,
    signed_root,
    voltage_signal,
)
from steadybead_domain.conversion.specs import (
    CurrentLoop,
    Linear,
    SquareRoot,
    VoltageLoop,
)
from steadybead_domain.conversion.units import to_unit
from steadybead_domain.conversion.wire import Marks, WireColumns, lies_within
from steadybead_domain.quantities import QuantityFacts
from steadybead_domain.readings import Float64, Quality, Reason

Step = Callable[[WireColumns], Marks]
_LARGEST = 1e300


def memoryless_step(
    conversion: CurrentLoop | VoltageLoop | SquareRoot | Linear | None, wire_unit: str, unit: str
) -> Step:
    """Build the step for a conversion; raise UnitError or ValueError with the remedy."""
    match conversion:
        case None:
            return affine_step(*to_unit(wire_unit, unit))
        case Linear(factor, offset, to):
            to_factor, to_offset = to_unit(to, unit)
            return affine_step(factor * to_factor, offset * to_factor + to_offset)
        case CurrentLoop(low, high, to):
            milli = to_unit(wire_unit, "mA")
            return _loop_step(current_signal, milli, (low, high), to_unit(to, unit))
        case VoltageLoop(low, high, to, low_v, high_v):
            if not low_v < high_v:
                raise ValueError(f"low_v {low_v:g} is not below high_v {high_v:g}: swap them")
            return _loop_step(
                lambda volt: voltage_signal(volt, low_v, high_v),
                to_unit(wire_unit, "V"),
                (low, high),
                to_unit(to, unit),
            )
        case SquareRoot(at_full, full_drop_pa, to):
            if not full_drop_pa > 0.0:
                raise ValueError("full_drop_pa must be above 0")
            return _root_step(at_full, full_drop_pa, to_unit(wire_unit, "Pa"), to_unit(to, unit))


def affine_step(factor: float, offset: float) -> Step:
    """Build value = factor · wire + offset."""

    def step(rows: WireColumns) -> Marks:
        value = rows.wire if factor == 1.0 else rows.wire * factor
        value = value + offset if offset or value is rows.wire else value
        return Marks(value, rows.quality, rows.reason)

    return step


def _loop_step(
    signal: Callable[[Float64], LoopSignal],
    wire_scale: tuple[float, float],
    ends: tuple[float, float],
    unit_scale: tuple[float, float],
) -> Step:
    factor, offset = wire_scale
    low, high = (unit_scale[0] * end + unit_scale[1] for end in ends)

    def step(rows: WireColumns) -> Marks:
        share, saturated, fault = signal(rows.wire * factor + offset)
        marks = Marks(low + share * (high - low), rows.quality, rows.reason)
        if saturated is not None and fault is not None:
            marks.worsen(saturated, Quality.UNCERTAIN, Reason.LOOP_FAULT)
            marks.lose(fault, Reason.LOOP_FAULT)
        return marks

    return step


def _root_step(
    at_full: float, full_drop_pa: float, wire_scale: tuple[float, float], unit: tuple[float, float]
) -> Step:
    factor, offset = wire_scale

    def step(rows: WireColumns) -> Marks:
        flow = at_full * signed_root((rows.wire * factor + offset) / full_drop_pa)
        return Marks(flow * unit[0] + unit[1], rows.quality, rows.reason)

    return step


def check_limits(facts: QuantityFacts, marks: Marks) -> None:
    """Mark what cannot be real; a number too large to keep is cut to a large one."""
    value = marks.value
    if lies_within(value, facts.low, facts.high):
        return
    outside = ~((value >= facts.low) & (value <= facts.high))
    marks.value = np.nan_to_num(value, nan=0.0, posinf=_LARGEST, neginf=-_LARGEST)
    if marks.lost is not None:
        outside &= ~marks.lost
    marks.worsen(outside, Quality.BAD, Reason.OUT_OF_PHYSICAL_RANGE)
