"""Contexts and templates of sensors, checks and calibrations without a server."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from calibration_samples import FITTING, INSTRUMENT, NOW, calibration, check
from fakes_pages import PLANT
from steadybead_dashboards.entry_pages import (
    Doubt,
    calibration_entry_page,
    calibration_page,
    check_page,
)
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.sensor import SensorFacts, sensor_page
from steadybead_dashboards.sensor_list import SensorView, sensor_list_page
from steadybead_dashboards.sensor_words import (
    DISTRIBUTIONS,
    ENTRIES,
    KINDS,
    STATES,
    signed,
    two_figures,
)
from steadybead_dashboards.shell import Person, Shell
from steadybead_domain.calibration.due import CalibrationState, due
from steadybead_domain.calibration.due_findings import due_findings
from steadybead_domain.calibration.history import EntryKind, history
from steadybead_domain.calibration.impact import Span, Witness
from steadybead_domain.calibration.model import CorrectionKind
from steadybead_domain.calibration.timeline import timeline
from steadybead_domain.times import DAY
from steadybead_domain.uncertainty.budget import Distribution
from steadybead_domain.uncertainty.worth import worth_of_temperature
from steadybead_domain.welds import Weld

EVERYTHING = frozenset({"weld", "acknowledge", "see welders", "check", "calibrate"})
ANA = Person("Ana <i>Reis</i>", "administrator", EVERYTHING)
SHELL = Shell("North works", ZoneInfo("Europe/Lisbon"), NOW, "/sensors", ANA, "csrf-1")
ODD = replace(INSTRUMENT, serial="K<b>7</b> 100 %")
CHANNEL = PLANT.stations[0].channels[0]
LATE = calibration(performed=NOW - 400 * DAY, effective=NOW - 400 * DAY, note="a<b>")
LINE = timeline(CHANNEL.id, "Cel", [FITTING], [calibration()])
WORTH = worth_of_temperature(320.0, NOW, CHANNEL, LINE, [check()], nozzle="speed 5 mm")
VIEW = SensorView(CHANNEL, ODD, due(ODD, [LATE], NOW), 320.0, WORTH.budget)


def pages(shell: Shell) -> dict[str, str]:
    fittings = [replace(FITTING, channel=CHANNEL.id)]
    entries = history(ODD, fittings, [LATE], [check()])
    findings = due_findings([ODD], fittings, [LATE], NOW)
    assert [f.kind for f in findings] == ["calibration failed as found", "calibration overdue"]
    facts = SensorFacts(
        VIEW,
        ("f-1", 1, FITTING),
        [],
        WORTH,
        ("assumed <b>",),
        [(e, ODD) for e in entries],
        findings,
        hint="wired <b> wrongly",
    )
    weld = Weld("w-1", CHANNEL.id.station_id, "a", NOW - DAY, NOW - DAY + 60_000_000, seam="S<1>")
    span = Span(NOW - 2 * DAY, NOW, 3.0, Witness("r-1", NOW - 2 * DAY, 0.0, 1.0))
    doubts = [Doubt(CHANNEL.id, span, (weld,), 2)]
    contexts: dict[str, Page] = {
        "list": sensor_list_page(PLANT, [VIEW], findings, shell),
        "sensor": sensor_page(PLANT, facts, shell),
        "bare": sensor_page(
            PLANT,
            SensorFacts(
                SensorView(CHANNEL, None, None, None, None), None, [ODD], None, (), [], [], "no"
            ),
            shell,
        ),
        "check": check_page(PLANT, PLANT.stations[0], "b", ["n<b>", "n<b>", ""], shell),
        "check at": check_page(PLANT, None, "", [], shell),
        "entry": calibration_entry_page([ODD], "tc-7", shell),
        "calibration": calibration_page(PLANT, (LATE,), ODD, doubts, 3.0, shell),
        "passed": calibration_page(PLANT, (LATE,), ODD, [], 1.0, shell),
        "unseen": calibration_page(PLANT, (LATE,), ODD, [], None, shell),
    }
    made = renderer()
    return {name: made.render(page) for name, page in contexts.items()}


def test_every_word_is_there() -> None:
    assert set(STATES) == set(CalibrationState)
    assert set(ENTRIES) == set(EntryKind)
    assert set(DISTRIBUTIONS) == set(Distribution)
    assert set(KINDS) == set(CorrectionKind)


@pytest.mark.parametrize("person", [ANA, None], ids=["signed in", "stranger"])
def test_pages_are_escaped_and_free_of_inline_code(person: Person | None) -> None:
    for name, html in pages(replace(SHELL, person=person)).items():
        assert "<b>7" not in html, name
        assert "S<1>" not in html, name
        assert "<i>" not in html, name
        assert "n<b>" not in html, name
        assert "style=" not in html, name
        assert " onclick" not in html, name
        assert "safe to touch" in html, name


def test_the_list_says_state_and_uncertainty() -> None:
    html = pages(SHELL)["list"]
    assert "overdue since" in html
    assert "failed as found" in html
    assert f"± {two_figures(WORTH.budget.expanded)} °C" in html


def test_the_budget_names_each_term_with_divisor_and_what_averages() -> None:
    html = pages(SHELL)["sensor"]
    for term in WORTH.budget.terms:
        assert term.name in html
    assert "1.732" in html
    assert "averages, independent after 2 s" in html
    assert html.count(">stays<") == len(WORTH.budget.terms) - 1
    assert "wired &lt;b&gt; wrongly" in html


def test_a_calibration_lists_what_it_touches_and_judges_nothing() -> None:
    made = pages(SHELL)
    assert "S&lt;1&gt;" in made["calibration"]
    assert "and 2 more" in made["calibration"]
    assert "back to r-1" in made["calibration"]
    assert "nothing is in doubt" in made["passed"]
    assert "It was not looked at as found" in made["unseen"]


def test_a_stranger_is_offered_no_entry() -> None:
    made = pages(replace(SHELL, person=None, csrf=""))
    assert "Keep the check" not in made["check"]
    assert "Keep the calibration" not in made["entry"]
    assert "It was taken off now" not in made["sensor"]
    assert 'id="fit"' not in made["bare"]


@pytest.mark.parametrize(
    ("value", "text"),
    [(6.64, "6.6"), (0.0321, "0.032"), (12.3, "12"), (123.0, "123"), (0.0, "0")],
)
def test_an_uncertainty_has_two_figures(value: float, text: str) -> None:
    assert two_figures(value) == text


def test_errors_carry_their_sign() -> None:
    assert [signed(x) for x in (2.0, -0.25, 0.0)] == ["+2", "−0.25", "0"]
