"""What a recorded value is worth at its time: corrected as far as records allow, with its doubt."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from steadybead_domain.calibration.reference_check import (
    NozzleCorrection,
    ReferenceCheck,
    nozzle_correction,
    recalibrated,
)
from steadybead_domain.calibration.timeline import Stretch, Timeline
from steadybead_domain.conversion.flow import GasState
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.conversion.units import to_unit
from steadybead_domain.plant import Channel, FlowMeter
from steadybead_domain.times import format_rfc3339
from steadybead_domain.uncertainty.assumptions import flow_assumptions, nozzle_assumptions
from steadybead_domain.uncertainty.basis import CalibrationBasis
from steadybead_domain.uncertainty.budget import Budget
from steadybead_domain.uncertainty.flow import FlowAssumptions, flow_budget
from steadybead_domain.uncertainty.nozzle import NozzleAssumptions, nozzle_budget


@dataclass(frozen=True, slots=True)
class Worth:
    """A value in the channel's unit as recorded, recalibrated, and with the nozzle's correction.

    `best` is the last of these that records allow; `budget` is its budget as a single reading
    (`budget.over(seconds)` for a mean). `correction` is that of reference checks, if any.
    """

    recorded: float
    recalibrated: float
    best: float
    budget: Budget
    stretch: Stretch
    correction: NozzleCorrection | None


def worth_of_temperature(
    recorded: float,
    time: int,
    channel: Channel,
    line: Timeline,
    checks: Iterable[ReferenceCheck],
    *,
    nozzle: str,
    flow_l_min: float | None = None,
    cold_c: float = 25.0,
    assumptions: NozzleAssumptions | None = None,
) -> Worth:
    """Judge a nozzle temperature in °C. `checks` may be those of all channels and nozzles."""
    taken = assumptions or nozzle_assumptions(channel)
    if isinstance(channel.conversion, Thermocouple):
        taken = replace(taken, letter=channel.conversion.type)
    stretch = line.at(time)
    value = _recalibrated(recorded, stretch)
    correction = _correction(line, checks, nozzle, time, flow_l_min)
    best = value if correction is None else value + correction.value
    budget = nozzle_budget(
        best,
        cold_c,
        taken,
        calibration_basis(stretch, channel.unit, time, recorded),
        None if correction is None else correction.basis,
    )
    return Worth(recorded, value, best, budget, stretch, correction)


def worth_of_flow(
    recorded: float,
    time: int,
    channel: Channel,
    line: Timeline,
    checks: Iterable[ReferenceCheck],
    *,
    nozzle: str,
    at_meter: GasState,
    state_is_assumed: bool,
    assumptions: FlowAssumptions | None = None,
) -> Worth:
    """Judge an air flow in the channel's unit and at its own reference condition."""
    stretch = line.at(time)
    value = _recalibrated(recorded, stretch)
    correction = _correction(line, checks, nozzle, time, value)
    best = value if correction is None else value + correction.value
    budget = flow_budget(
        best,
        channel.flow or FlowMeter(),
        at_meter,
        assumptions or flow_assumptions(channel),
        state_is_assumed=state_is_assumed,
        unit=channel.unit,
        calibration=calibration_basis(stretch, channel.unit, time, recorded),
        check=None if correction is None else correction.basis,
    )
    return Worth(recorded, value, best, budget, stretch, correction)


def calibration_basis(
    stretch: Stretch, unit: str, time: int, recorded: float
) -> CalibrationBasis | None:
    """Give what a budget needs of the calibration in force; None where none is."""
    calibration, correction = stretch.calibration, stretch.correction
    if calibration is None or correction is None:
        return None
    factor = to_unit(calibration.unit, unit)[0]
    beyond = max(correction.low - recorded, recorded - correction.high, 0.0)
    return CalibrationBasis(
        factor * calibration.expanded_uncertainty,
        calibration.coverage_factor,
        abs(time - calibration.performed),
        _words(stretch),
        beyond,
    )


def _words(stretch: Stretch) -> str:
    calibration = stretch.calibration
    if calibration is None:
        return "not calibrated"
    named = f"certificate {calibration.certificate}, " if calibration.certificate else ""
    when = format_rfc3339(calibration.performed)[:10]
    return (
        f"calibration {calibration.id} of {when}, {named}against {calibration.reference_instrument}"
    )


def _recalibrated(recorded: float, stretch: Stretch) -> float:
    if stretch.correction is None:
        return recorded
    return float(stretch.correction.apply(np.array([recorded]))[0])


def _correction(
    line: Timeline,
    checks: Iterable[ReferenceCheck],
    nozzle: str,
    time: int,
    flow_l_min: float | None,
) -> NozzleCorrection | None:
    own = [c for c in checks if c.channel == line.channel]
    since = line.fitted_since(time)
    return nozzle_correction(recalibrated(own, line), line.channel, nozzle, time, flow_l_min, since)
