"""What may be wrong with a calibration or a fitting before it is kept; nothing bad is stored."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from steadybead_domain.calibration.model import (
    Calibration,
    CorrectionKind,
    Fitting,
    Instrument,
    in_force,
)
from steadybead_domain.conversion.units import UnitError, to_unit
from steadybead_domain.times import FURTHEST_AHEAD, format_rfc3339

_POINTS = {
    CorrectionKind.OFFSET: (1, 1, "an offset has one point"),
    CorrectionKind.TWO_POINT: (2, 2, "a two-point calibration has two points"),
    CorrectionKind.PIECEWISE: (3, 200, "a piecewise calibration has three points or more"),
}


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake: the field, with the point's number from 1 where it is one, and the remedy."""

    field: str
    text: str


def calibration_problems(
    calibration: Calibration, instrument: Instrument, others: Iterable[Calibration], now: int
) -> list[Problem]:
    """List all mistakes; empty: it may be kept. `others` are all known calibrations."""
    return [
        *_point_problems(calibration),
        *_unit_problems(calibration, instrument),
        *_time_problems(calibration, now),
        *_overlap_problems(calibration, others),
        *_text_problems(calibration),
    ]


def fitting_problems(fitting: Fitting, others: Iterable[Fitting], now: int) -> list[Problem]:
    """List all mistakes of a fitting against the others known."""
    problems = []
    if fitting.end is not None and fitting.end <= fitting.start:
        problems.append(Problem("end", "the end is not after the start: swap them"))
    if fitting.start > now + FURTHEST_AHEAD:
        problems.append(Problem("start", "the start lies in the future: enter it when it is done"))
    for other in others:
        if not _overlap(fitting, other):
            continue
        where = f"since {format_rfc3339(other.start)}: end that first"
        if other.channel == fitting.channel:
            text = f"{other.channel} already carries instrument {other.instrument} {where}"
            problems.append(Problem("channel", text))
        elif other.instrument == fitting.instrument:
            text = f"instrument {other.instrument} is fitted to {other.channel} {where}"
            problems.append(Problem("instrument", text))
    return problems


def _point_problems(calibration: Calibration) -> Iterator[Problem]:
    fewest, most, words = _POINTS[calibration.kind]
    points = calibration.points
    if not fewest <= len(points) <= most:
        yield Problem("points", f"{words}, {len(points)} given: add or remove points")
    numbers = [x for p in points for x in (p.reference, p.as_found, p.as_left) if x is not None]
    if not all(map(math.isfinite, numbers)):
        yield Problem("points", "a point is no finite number: enter its value again")
        return
    found = [p.as_found for p in points]
    if any(x is None for x in found) and any(x is not None for x in found):
        yield Problem("points", "some points have as-found values and some have none: fill all")
    if any(p.left is None for p in points):
        yield Problem("points", "a point has neither as-found nor as-left value: fill one")
        return
    yield from _order_problems("reference", [p.reference for p in points])
    yield from _order_problems("as found", [x for x in found if x is not None])
    yield from _order_problems("as left", [p.left for p in points if p.left is not None])
    yield from _range_problems(calibration)


def _order_problems(column: str, values: list[float]) -> Iterator[Problem]:
    for i, (one, other) in enumerate(pairwise(values), start=2):
        if other <= one:
            yield Problem(
                f"points[{i}]",
                f"{column} {other:g} at point {i} does not rise above {one:g}: "
                "order the points by rising value, each once",
            )


def _range_problems(calibration: Calibration) -> Iterator[Problem]:
    low, high = calibration.valid_low, calibration.valid_high
    if calibration.kind is not CorrectionKind.OFFSET:
        if low is not None or high is not None:
            yield Problem("valid_low", "the points give the range: leave the range out")
        return
    if low is None or high is None or not low < high:
        yield Problem("valid_low", "say from which to which shown value the one offset may be used")
        return
    shown = [x for p in calibration.points for x in (p.as_found, p.left) if x is not None]
    if not all(low <= x <= high for x in shown):
        yield Problem("valid_low", f"the point lies outside {low:g}..{high:g}: widen the range")


def _unit_problems(calibration: Calibration, instrument: Instrument) -> Iterator[Problem]:
    try:
        to_unit(calibration.unit, instrument.unit)
    except UnitError as error:
        yield Problem("unit", str(error))
    if calibration.instrument != instrument.id:
        yield Problem("instrument", f"this is instrument {instrument.id}: choose the right one")
    uncertainty, factor = calibration.expanded_uncertainty, calibration.coverage_factor
    if not (math.isfinite(uncertainty) and uncertainty > 0.0):
        yield Problem("expanded_uncertainty", "enter the U of the certificate, above 0")
    if not 1.0 <= factor <= 4.0:
        yield Problem("coverage_factor", "enter the k of the certificate, mostly 2")


def _time_problems(calibration: Calibration, now: int) -> Iterator[Problem]:
    if calibration.performed > now + FURTHEST_AHEAD:
        yield Problem("performed", "it lies in the future: enter it when it is done")
    if calibration.effective > calibration.performed:
        yield Problem(
            "effective",
            "it is later than the calibration: take the time performed or an earlier one",
        )
    if calibration.due is not None and calibration.due <= calibration.performed:
        yield Problem("due", "it is due before it was performed: enter a later date")


def _overlap_problems(calibration: Calibration, others: Iterable[Calibration]) -> Iterator[Problem]:
    for other in in_force(others):
        if other.instrument != calibration.instrument or other.id == calibration.id:
            continue
        when = format_rfc3339(other.performed)
        if other.performed == calibration.performed:
            text = f"calibration {other.id} has the same time: enter a revision of it instead"
            yield Problem("performed", text)
        elif calibration.effective < other.performed < calibration.performed:
            text = f"it overlaps calibration {other.id} of {when}: choose a time from then on"
            yield Problem("effective", text)
        elif other.effective < calibration.performed < other.performed:
            text = f"calibration {other.id} of {when} already holds for that time: revise it first"
            yield Problem("performed", text)


def _text_problems(calibration: Calibration) -> Iterator[Problem]:
    if not calibration.reference_instrument.strip():
        yield Problem("reference_instrument", "name the reference instrument by its serial number")
    if not calibration.author.strip():
        yield Problem("author", "say who did it")


def _overlap(one: Fitting, other: Fitting) -> bool:
    return (other.end is None or one.start < other.end) and (
        one.end is None or other.start < one.end
    )
