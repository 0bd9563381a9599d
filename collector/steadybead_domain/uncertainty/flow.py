"""The default budget of an air flow, in the channel's unit. Every default is an assumption."""

from dataclasses import dataclass

from steadybead_domain.conversion.flow import ZERO_C_K, GasState
from steadybead_domain.conversion.specs import FlowPrinciple
from steadybead_domain.plant import FlowMeter
from steadybead_domain.uncertainty.basis import ASSUMED, CalibrationBasis, CheckBasis, told
from steadybead_domain.uncertainty.budget import Budget, Distribution, Term

YEAR_DAYS = 365.25


@dataclass(frozen=True, slots=True)
class FlowAssumptions:
    """What is taken for granted where nothing better is on record, ± half-widths.

    All figures are the project's assumptions; put the meter's data sheet in their place. `given`
    names those that the shop has put there.
    """

    accuracy_share: float = 0.03
    zero_l_min: float = 0.5
    resolution_l_min: float = 0.1
    noise_l_min: float = 0.5
    noise_time_s: float = 1.0
    temperature_c: float = 1.0
    temperature_taken_c: float = 10.0
    pressure_pa: float = 300.0
    pressure_taken_pa: float = 3_000.0
    drift_share_per_year: float = 0.02
    drift_since_check_share: float = 0.005
    given: frozenset[str] = frozenset()


def flow_budget(
    flow: float,
    meter: FlowMeter,
    at_meter: GasState,
    assumptions: FlowAssumptions | None = None,
    *,
    state_is_assumed: bool = True,
    unit: str = "L/min",
    calibration: CalibrationBasis | None = None,
    check: CheckBasis | None = None,
) -> Budget:
    """Give the budget of one flow reading, converted to a reference condition.

    `state_is_assumed`: temperature or pressure at the meter had to be assumed. A thermal mass
    meter does not depend on them; the others do by their principle.
    """
    taken = assumptions or FlowAssumptions()
    if check is not None:
        own = _checked(taken, flow, unit, check)
    elif calibration is not None:
        own = _calibrated(taken, flow, unit, calibration)
    else:
        own = _as_delivered(taken, flow, unit)
    state = _state(taken, flow, meter, at_meter, state_is_assumed)
    return Budget((*own, *state, *_reading(taken, unit)), unit)


def _as_delivered(taken: FlowAssumptions, flow: float, unit: str) -> list[Term]:
    return [
        Term(
            "accuracy of the meter",
            taken.accuracy_share * abs(flow),
            unit,
            **told(
                taken.given,
                "accuracy_share",
                assumed=f"{ASSUMED}: {100 * taken.accuracy_share:g} % of reading",
            ),
        ),
        Term("zero of the meter", taken.zero_l_min, unit, **told(taken.given, "zero_l_min")),
    ]


def _calibrated(
    taken: FlowAssumptions, flow: float, unit: str, calibration: CalibrationBasis
) -> list[Term]:
    drift = taken.drift_share_per_year * abs(flow) * calibration.age_days / YEAR_DAYS
    return [
        Term(
            "calibration",
            calibration.expanded,
            unit,
            Distribution.NORMAL,
            calibration.coverage_factor,
            source=calibration.words,
        ),
        Term(
            "drift since calibration",
            drift,
            unit,
            **told(
                taken.given,
                "drift_share_per_year",
                assumed=f"{ASSUMED}: {100 * taken.drift_share_per_year:g} % a year",
            ),
        ),
    ]


def _checked(taken: FlowAssumptions, flow: float, unit: str, check: CheckBasis) -> list[Term]:
    drift = taken.drift_since_check_share * abs(flow)
    return [
        Term(
            "reference instrument of the check",
            check.reference_standard,
            unit,
            Distribution.NORMAL,
            1.0,
            source=check.words,
        ),
        Term(
            "scatter of the checks",
            check.scatter_standard,
            unit,
            Distribution.NORMAL,
            1.0,
            dof=check.dof,
            source=check.words,
        ),
        Term(
            "drift since the check",
            drift,
            unit,
            **told(
                taken.given,
                "drift_since_check_share",
                assumed=f"{ASSUMED}: {100 * taken.drift_since_check_share:g} %",
            ),
        ),
    ]


def _state(
    taken: FlowAssumptions, flow: float, meter: FlowMeter, at: GasState, assumed: bool
) -> list[Term]:
    power = _STATE_POWER[meter.principle]
    if power == 0.0:
        return []
    temperature_c = taken.temperature_taken_c if assumed else taken.temperature_c
    pressure_pa = taken.pressure_taken_pa if assumed else taken.pressure_pa
    how = "taken, not measured" if assumed else "measured"
    kelvin = float(at.temperature_c) + ZERO_C_K
    return [
        Term(
            f"temperature at the meter, {how}",
            temperature_c,
            "°C",
            sensitivity=-power * flow / kelvin,
            **told(taken.given, "temperature_taken_c" if assumed else "temperature_c"),
        ),
        Term(
            f"pressure at the meter, {how}",
            pressure_pa,
            "Pa",
            sensitivity=power * flow / float(at.pressure_pa),
            **told(taken.given, "pressure_taken_pa" if assumed else "pressure_pa"),
        ),
    ]


_STATE_POWER = {
    FlowPrinciple.THERMAL_MASS: 0.0,
    FlowPrinciple.ACTUAL_VOLUME: 1.0,
    FlowPrinciple.VARIABLE_AREA: 0.5,
    FlowPrinciple.PRESSURE_DROP: 0.5,
}


def _reading(taken: FlowAssumptions, unit: str) -> list[Term]:
    return [
        Term("resolution", taken.resolution_l_min, unit, **told(taken.given, "resolution_l_min")),
        Term(
            "noise of the flow",
            taken.noise_l_min,
            unit,
            Distribution.NORMAL,
            1.0,
            averages_over_s=taken.noise_time_s,
            **told(taken.given, "noise_l_min"),
        ),
    ]
