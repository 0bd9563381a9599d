from dataclasses import replace
from typing import Any

import pytest

from calibration_samples import (
    CHANNEL,
    FITTING,
    INSTRUMENT,
    NOW,
    OTHER_CHANNEL,
    POINTS,
    calibration,
    offset,
)
from steadybead_domain.calibration.model import CorrectionKind, Fitting, Point
from steadybead_domain.calibration.validation import calibration_problems, fitting_problems
from steadybead_domain.times import DAY

EARLIER = calibration(id="cal-0", performed=NOW - 40 * DAY, effective=NOW - 40 * DAY)
LATER = calibration(id="cal-9", performed=NOW - 2 * DAY, effective=NOW - 20 * DAY)


@pytest.mark.parametrize(
    "good",
    [
        calibration(),
        offset(305.0, 300.0),
        calibration(kind=CorrectionKind.TWO_POINT, points=POINTS[:2]),
        calibration(points=tuple(Point(p, None, p + 1) for p in (1.0, 2.0, 3.0))),
        calibration(effective=NOW - 39 * DAY),
        calibration(effective=NOW - 40 * DAY),
        calibration(revision=2),
    ],
)
def test_a_sound_calibration_has_no_problem(good: Any) -> None:
    assert calibration_problems(good, INSTRUMENT, [EARLIER, calibration()], NOW) == []


@pytest.mark.parametrize(
    ("changed", "field", "text"),
    [
        ({"points": POINTS[:2]}, "points", "three points or more, 2 given: add or remove"),
        ({"points": POINTS[::-1]}, "points[2]", "reference 300 at point 2 does not rise above 500"),
        ({"points": (*POINTS[:2], POINTS[1])}, "points[3]", "order the points by rising value"),
        (
            {"points": (Point(1.0, 3.0), Point(2.0, 2.0), Point(3.0, 4.0))},
            "points[2]",
            "as found 2 at point 2 does not rise above 3",
        ),
        (
            {"points": (Point(1.0, 1.0, 9.0), Point(2.0, 2.0, 8.0), Point(3.0, 3.0, 10.0))},
            "points[2]",
            "as left 8 at point 2 does not rise above 9",
        ),
        ({"points": (Point(float("nan"), 1.0), *POINTS[1:])}, "points", "no finite number"),
        ({"points": (Point(1.0, None), *POINTS[1:])}, "points", "some have none: fill all"),
        ({"points": tuple(Point(p, None) for p in (1.0, 2.0, 3.0))}, "points", "neither as-found"),
        ({"valid_low": 0.0}, "valid_low", "the points give the range"),
        ({"kind": CorrectionKind.OFFSET}, "points", "an offset has one point, 3 given"),
        ({"unit": "Pa"}, "unit", "unit 'Pa' does not fit here: write Cel"),
        ({"instrument": "tc-9"}, "instrument", "this is instrument tc-7"),
        ({"expanded_uncertainty": 0.0}, "expanded_uncertainty", "enter the U of the certificate"),
        ({"coverage_factor": 0.2}, "coverage_factor", "mostly 2"),
        ({"performed": NOW + DAY}, "performed", "it lies in the future"),
        ({"effective": NOW - DAY}, "effective", "later than the calibration"),
        ({"due": NOW - 11 * DAY}, "due", "due before it was performed"),
        ({"effective": NOW - 41 * DAY}, "effective", "overlaps calibration cal-0 of 20"),
        ({"performed": NOW - 40 * DAY}, "performed", "calibration cal-0 has the same time"),
        ({"reference_instrument": " "}, "reference_instrument", "by its serial number"),
        ({"author": ""}, "author", "say who did it"),
    ],
)
def test_each_mistake_is_named_with_its_remedy(
    changed: dict[str, Any], field: str, text: str
) -> None:
    problems = calibration_problems(calibration(**changed), INSTRUMENT, [EARLIER], NOW)
    assert [p for p in problems if p.field == field and text in p.text], problems


def test_a_later_calibration_that_reaches_back_is_not_overlapped() -> None:
    problems = calibration_problems(calibration(), INSTRUMENT, [LATER], NOW)
    assert [p.field for p in problems] == ["performed"]
    assert "calibration cal-9 of 20" in problems[0].text
    assert "already holds for that time: revise it first" in problems[0].text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (None, None, "say from which to which shown value"),
        (600.0, 0.0, "say from which to which shown value"),
        (0.0, 100.0, "the point lies outside 0..100: widen the range"),
    ],
)
def test_an_offset_needs_its_range(low: float | None, high: float | None, text: str) -> None:
    wrong = replace(offset(305.0, 300.0), valid_low=low, valid_high=high)
    problems = calibration_problems(wrong, INSTRUMENT, [], NOW)
    assert len(problems) == 1
    assert text in problems[0].text


@pytest.mark.parametrize(
    ("fitting", "field", "text"),
    [
        (Fitting("tc-8", CHANNEL, NOW), "channel", "already carries instrument tc-7 since 20"),
        (
            Fitting("tc-7", OTHER_CHANNEL, NOW),
            "instrument",
            "is fitted to north/bay-1/gun-a/nozzle",
        ),
        (Fitting("tc-8", OTHER_CHANNEL, NOW, NOW), "end", "the end is not after the start"),
        (Fitting("tc-8", OTHER_CHANNEL, NOW + DAY), "start", "lies in the future"),
    ],
)
def test_mistakes_of_a_fitting(fitting: Fitting, field: str, text: str) -> None:
    problems = fitting_problems(fitting, [FITTING], NOW)
    assert [p.field for p in problems] == [field]
    assert text in problems[0].text


def test_a_sound_fitting_has_no_problem() -> None:
    ended = replace(FITTING, end=NOW - DAY)
    assert fitting_problems(Fitting("tc-8", CHANNEL, NOW - DAY), [ended], NOW) == []
    assert fitting_problems(Fitting("tc-7", OTHER_CHANNEL, NOW), [ended], NOW) == []
