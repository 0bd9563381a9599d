"""A thermocouple channel: from measured mV to °C, with what can be wrong with it."""

from collections.abc import Callable

import numpy as np

from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.conversion.steps import Step
from steadybead_domain.conversion.thermocouple import (
    emf_mv,
    emf_range_mv,
    hot_junction_c,
    temperature_range_c,
)
from steadybead_domain.conversion.units import to_unit
from steadybead_domain.conversion.wire import Marks, WireColumns
from steadybead_domain.quantities import QuantityFacts
from steadybead_domain.readings import Float64, Quality, Reason

ColdJunctionOf = Callable[[WireColumns], Float64]


def thermocouple_step(
    spec: Thermocouple, wire_unit: str, facts: QuantityFacts, cold_c: ColdJunctionOf
) -> Step:
    """Build the step; `cold_c` gives °C for each row, NaN where there is none.

    An emf above the type's range, or further below zero than reversed leads could bring it, is an
    open circuit. Between that and the type's lowest emf the reading is out of physical range and
    shows the lowest temperature of the type. Raises UnitError or ValueError with the remedy.
    """
    factor, offset = to_unit(wire_unit, "mV")
    to_factor, to_offset = to_unit("Cel", facts.unit)
    low_mv, high_mv = emf_range_mv(spec.type)
    low_c, high_c = temperature_range_c(spec.type)
    highest_c = min((facts.high - to_offset) / to_factor, high_c)
    reversed_mv = -float(emf_mv(spec.type, np.array([highest_c]))[0])

    def step(rows: WireColumns) -> Marks:
        hot_c, total_mv = hot_junction_c(spec.type, rows.wire * factor + offset, cold_c(rows))
        value = hot_c if to_factor == 1.0 and not to_offset else hot_c * to_factor + to_offset
        marks = Marks(value, rows.quality, rows.reason)
        if not len(rows) or np.isfinite(hot_c.sum()):
            return marks
        below = total_mv < low_mv
        marks.value[below] = low_c * to_factor + to_offset
        marks.worsen(below, Quality.BAD, Reason.OUT_OF_PHYSICAL_RANGE)
        marks.lose((total_mv > high_mv) | (total_mv < reversed_mv), Reason.OPEN_CIRCUIT)
        marks.lose(np.isnan(total_mv), Reason.COLD_JUNCTION_MISSING)
        return marks

    return step
