"""The default budget of a nozzle temperature, in °C. Every default is an assumption, editable."""

from dataclasses import dataclass

import numpy as np

from steadybead_domain.conversion.thermocouple import seebeck_mv_k
from steadybead_domain.uncertainty.basis import ASSUMED, CalibrationBasis, CheckBasis, told
from steadybead_domain.uncertainty.budget import Budget, Distribution, Term
from steadybead_domain.uncertainty.tolerance import tolerance_c

YEAR_DAYS = 365.25


@dataclass(frozen=True, slots=True)
class NozzleAssumptions:
    """What is taken for granted where nothing better is on record; all ± half-widths in °C.

    The figures are the project's assumptions. `ordering_c` stands for the reversible ordering
    drift of types K and N between 200 and 600 °C: +0.9 °C after 5 min, +1.9 °C after 45 min,
    +3.7 °C after 7 h at 350 °C (a thermocouple maker's published figures for type K).
    `position_c` is how far a fixed sensor may stand off from the gas 5 mm inside the nozzle.
    `given` names those that the shop has put in the place of ours.
    """

    letter: str = "K"
    tolerance_class: int = 1
    unknown_tolerance_c: float = 5.0
    cold_junction_c: float = 1.0
    resolution_c: float = 0.2
    ordering_c: float = 2.0
    position_c: float = 5.0
    noise_c: float = 0.5
    noise_time_s: float = 2.0
    drift_c_per_year: float = 2.0
    cold_junction_change_c: float = 0.5
    drift_since_check_c_per_day: float = 0.2
    least_drift_since_check_c: float = 0.5
    given: frozenset[str] = frozenset()


def nozzle_budget(
    t_c: float,
    cold_c: float = 25.0,
    assumptions: NozzleAssumptions | None = None,
    calibration: CalibrationBasis | None = None,
    check: CheckBasis | None = None,
) -> Budget:
    """Give the budget of one reading at t_c, with its terminal at cold_c.

    A reference check compares the reading with the gas itself: it stands for tolerance,
    calibration, ordering and position together. Without one, a calibration stands for the
    tolerance alone. Where no tolerance is known, `unknown_tolerance_c` is taken.
    """
    taken = assumptions or NozzleAssumptions()
    if check is not None:
        own = _checked(taken, check)
    elif calibration is not None:
        own = [*_calibrated(taken, calibration), *_unchecked(taken)]
    else:
        own = [_as_delivered(taken, t_c), *_unchecked(taken)]
    junction_c = taken.cold_junction_c if check is None else taken.cold_junction_change_c
    words = "cold junction" if check is None else "cold junction, change since the check"
    junction = Term(
        words,
        junction_c,
        "°C",
        sensitivity=_junction_sensitivity(taken.letter, t_c, cold_c),
        **told(taken.given, "cold_junction_c" if check is None else "cold_junction_change_c"),
    )
    return Budget((*own, junction, *_reading(taken)), "°C")


def _as_delivered(taken: NozzleAssumptions, t_c: float) -> Term:
    name = f"tolerance, type {taken.letter} class {taken.tolerance_class}"
    try:
        half_width_c = tolerance_c(taken.letter, taken.tolerance_class, t_c)
        said = told(taken.given, "tolerance_class", assumed="the class is assumed")
        said["source"] = f"IEC 60584-1, from memory; {said['source']}"
    except ValueError as error:
        half_width_c = taken.unknown_tolerance_c
        said = told(taken.given, "unknown_tolerance_c", assumed=f"{ASSUMED}: {error}")
    return Term(name, half_width_c, "°C", **said)


def _unchecked(taken: NozzleAssumptions) -> list[Term]:
    return [
        Term(
            "ordering drift",
            taken.ordering_c,
            "°C",
            **told(
                taken.given, "ordering_c", assumed=f"{ASSUMED} after published figures for type K"
            ),
        ),
        Term(
            "position in the nozzle, not corrected by a reference check",
            taken.position_c,
            "°C",
            **told(taken.given, "position_c"),
        ),
    ]


def _calibrated(taken: NozzleAssumptions, calibration: CalibrationBasis) -> list[Term]:
    drift_c = taken.drift_c_per_year * calibration.age_days / YEAR_DAYS
    terms = [
        Term(
            "calibration",
            calibration.expanded,
            "°C",
            Distribution.NORMAL,
            calibration.coverage_factor,
            source=calibration.words,
        ),
        Term(
            "drift since calibration",
            drift_c,
            "°C",
            **told(
                taken.given,
                "drift_c_per_year",
                assumed=f"{ASSUMED}: {taken.drift_c_per_year:g} °C a year",
            ),
        ),
    ]
    if calibration.outside_by > 0.0:
        terms.append(
            Term(
                "outside the calibrated range",
                0.01 * calibration.outside_by,
                "°C",
                assumed=True,
                source="project assumption: 1 % of the distance to the range",
            )
        )
    return terms


def _checked(taken: NozzleAssumptions, check: CheckBasis) -> list[Term]:
    drift_c = max(
        taken.least_drift_since_check_c, taken.drift_since_check_c_per_day * check.age_days
    )
    return [
        Term(
            "reference instrument of the check",
            check.reference_standard,
            "°C",
            Distribution.NORMAL,
            1.0,
            source=check.words,
        ),
        Term(
            "scatter of the checks",
            check.scatter_standard,
            "°C",
            Distribution.NORMAL,
            1.0,
            dof=check.dof,
            source=check.words,
        ),
        Term(
            "drift since the check",
            drift_c,
            "°C",
            **told(
                taken.given,
                "drift_since_check_c_per_day",
                assumed=f"{ASSUMED}: {taken.drift_since_check_c_per_day:g} °C a day, "
                f"{taken.least_drift_since_check_c:g} °C at least",
            ),
        ),
    ]


def _reading(taken: NozzleAssumptions) -> list[Term]:
    return [
        Term("resolution", taken.resolution_c, "°C", **told(taken.given, "resolution_c")),
        Term(
            "noise of the gas stream",
            taken.noise_c,
            "°C",
            Distribution.NORMAL,
            1.0,
            averages_over_s=taken.noise_time_s,
            **told(taken.given, "noise_c"),
        ),
    ]


def _junction_sensitivity(letter: str, t_c: float, cold_c: float) -> float:
    """Give °C at the hot junction for 1 °C at the cold one: the ratio of Seebeck coefficients."""
    cold, hot = seebeck_mv_k(letter, np.array([cold_c, t_c]))
    return float(cold / hot)
