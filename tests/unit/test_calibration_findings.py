from dataclasses import replace
from typing import Any

import pytest

from calibration_samples import CHANNEL, FITTING, INSTRUMENT, NOW, check, offset
from steadybead_domain.calibration.check_validation import check_problems
from steadybead_domain.calibration.due_findings import due_findings
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, SECOND

NOZZLE = Channel(CHANNEL, Quantity.NOZZLE_TEMPERATURE, "mV")
GOOD = offset(301.0, 300.0)


def findings_at(now: int, *calibrations: Any, instrument: Any = INSTRUMENT) -> list[Finding]:
    return due_findings([instrument], [FITTING], calibrations, now)


def test_valid_instruments_give_no_finding() -> None:
    assert findings_at(NOW, GOOD) == []
    assert findings_at(NOW, instrument=replace(INSTRUMENT, interval_days=None)) == []


def test_due_soon_and_overdue_say_since_when() -> None:
    due = NOW + 355 * DAY
    (soon,) = findings_at(due - DAY, GOOD)
    assert (soon.kind, soon.since) == ("calibration due soon", due - 14 * DAY)
    assert soon.words.startswith("instrument K-0007 (type K, class 1) is due for calibration soon")
    (late,) = findings_at(due + DAY, GOOD)
    assert (late.kind, late.since, late.channel, late.gun) == (
        "calibration overdue",
        due,
        CHANNEL,
        "a",
    )


def test_never_calibrated_and_failed_as_found() -> None:
    (never,) = findings_at(NOW)
    assert (never.kind, never.since) == ("never calibrated", FITTING.start)
    failed, *others = findings_at(NOW, offset(305.0, 300.0))
    assert others == []
    assert (failed.kind, failed.value, failed.threshold) == (
        "calibration failed as found",
        5.0,
        2.0,
    )
    assert "was found +5 °C off, its tolerance is ±2 °C" in failed.words
    assert Finding.from_json(failed.to_json()) == failed


def test_only_fitted_instruments_speak() -> None:
    removed = replace(FITTING, end=NOW - DAY)
    assert due_findings([INSTRUMENT], [removed], [], NOW) == []
    assert due_findings([], [FITTING], [], NOW) == []


def test_a_sound_check_has_no_problem() -> None:
    assert check_problems(check(), NOZZLE, [check(id="x", time=NOW - DAY)], NOW) == []
    assert check_problems(check(revision=2), NOZZLE, [check()], NOW) == []


@pytest.mark.parametrize(
    ("changed", "field", "text"),
    [
        ({"time": NOW + DAY}, "time", "lies in the future"),
        ({"time": check().time + 20 * SECOND, "id": "x"}, "time", "on record already"),
        ({"reference": 3200.0}, "reference", "3200 °C cannot be: enter -40 to 900"),
        ({"shown": float("inf")}, "shown", "inf °C cannot be"),
        ({"expanded_uncertainty": 0.0}, "expanded_uncertainty", "above 0"),
        ({"coverage_factor": 0.0}, "coverage_factor", "mostly 2"),
        ({"flow_l_min": -5.0}, "flow_l_min", "or leave it out"),
        ({"nozzle": ""}, "nozzle", "say which nozzle was on"),
        ({"reference_instrument": ""}, "reference_instrument", "serial number"),
        ({"author": " "}, "author", "say who did it"),
    ],
)
def test_mistakes_of_a_check(changed: dict[str, Any], field: str, text: str) -> None:
    problems = check_problems(check(**changed), NOZZLE, [check()], NOW)
    assert [p.field for p in problems] == [field]
    assert text in problems[0].text
