"""The maintenance page's words, numbers and drawing, without a server."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from fakes_pages import PLANT
from maintenance_samples import BAY_1, T0, drift_finding, filter_change, filter_finding
from steadybead_dashboards.finding_cards import figure, finding_cards, headline, lines_by_station
from steadybead_dashboards.forecast_drawing import NOW_X, Forecast, drawing
from steadybead_dashboards.maintenance import Done, FilterFacts, maintenance_page
from steadybead_dashboards.render import renderer
from steadybead_dashboards.shell import Person, Shell
from steadybead_dashboards.work_list import work_list_page
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.standing import Standing, finding_id, urgency_of
from steadybead_domain.ids import StationId
from steadybead_domain.maintenance import Drop, FilterWork
from steadybead_domain.plant import AirSource
from steadybead_domain.times import HOUR
from steadybead_domain.work_list import WorkItem, WorkKind

MARTA = Person("Marta", "maintenance", frozenset({"maintain"}))
SHELL = Shell("North works", ZoneInfo("Europe/Lisbon"), T0 + HOUR, "/maintenance", MARTA, "csrf-1")
LIMIT = 250.0


def standing(finding: Finding) -> Standing:
    return Standing(finding_id(finding), finding, urgency_of(finding))


def test_a_headline_is_the_first_thing_said() -> None:
    assert headline(drift_finding()) == "Gun a: the thermocouple reads 5.1 °C low"
    assert headline(filter_finding(drop_pa=138.0)) == "Drop 138 Pa at the usual flow"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.91, "0.91"),
        (-5.1, "\N{MINUS SIGN}5.1"),
        (138.4, "138"),
        (123456.0, "123456"),
        (0.0, "0"),
        (0.00001234, "1.23e\N{MINUS SIGN}05"),
    ],
)
def test_numbers_of_any_size_are_printed(value: float, text: str) -> None:
    assert figure(value) == text
    assert figure(value, "Cel") == f"{text} °C"


def test_a_forecast_is_no_line_and_no_card() -> None:
    found = [standing(drift_finding()), standing(filter_finding())]
    assert [line.words for line in lines_by_station(found)[str(BAY_1)]] == [
        "Gun a: the thermocouple reads 5.1 °C low"
    ]
    (card,) = finding_cards(found, PLANT, SHELL)
    assert (card.place, card.urgency_word, card.sureness) == ("Bay 1", "Soon", "likely")
    assert [r.text for r in card.numbers] == ["\N{MINUS SIGN}5.1 °C", "0.2 °C", "0.8 °C", "2.4 °C"]
    assert [r.text for r in card.evidence] == [
        "0.91",
        "nozzle reading over needle probe",
        "nothing",
    ]


def points(text: str) -> list[tuple[float, float]]:
    found = [tuple(map(float, pair.split(","))) for pair in text.split()]
    return [(x, y) for x, y in found]


def test_the_fan_begins_at_the_drop_told_and_meets_the_limit() -> None:
    told = [(T0, 60.0), (T0 + HOUR, 140.0)]
    shown = drawing(told, LIMIT, Forecast(140.0, 30.0, 21.0, 42.0))
    assert shown is not None
    middle = points(shown.middle)
    assert middle[0] == (NOW_X, shown.dot_y) == (shown.dot_x, shown.dot_y)
    assert middle[-1] == (shown.middle_x, shown.limit_y)
    assert NOW_X < shown.low_x < shown.middle_x < shown.high_x <= 320.0
    ahead = (shown.middle_x - NOW_X) / (shown.high_x - NOW_X)
    assert ahead == pytest.approx(30.0 / 42.0, abs=0.01)
    fan = points(shown.fan)
    assert (fan[0], fan[-1]) == (middle[0], middle[0])
    assert points(shown.past)[0][1] > shown.dot_y > shown.limit_y  # y grows downwards


def test_drawing_without_forecast_or_without_anything() -> None:
    assert drawing([], LIMIT, None) is None
    alone = drawing([(T0, 140.0)], LIMIT, None)
    assert alone is not None
    assert (alone.past, alone.fan, alone.dot_x) == ("", "", NOW_X)
    beyond = drawing([(T0, 900.0)], LIMIT, Forecast(900.0, 0.0, 0.0, 0.0))
    assert beyond is not None
    assert 0 <= beyond.dot_y < beyond.limit_y <= 110
    assert beyond.fan == ""


def page_of(facts: FilterFacts, limit: float | None = LIMIT) -> str:
    stations = tuple(
        replace(s, air=AirSource(intake_filter_limit_pa=limit)) for s in PLANT.stations
    )
    plant = replace(PLANT, stations=stations)
    page = maintenance_page(plant, SHELL, [], [], {BAY_1: facts}, [])
    own = page.filters[0]
    return f"{own.left}|{own.interval}|{own.why}|{own.now}"


def test_what_is_said_of_a_filter() -> None:
    now = Drop(138.4, 53.2)
    assert page_of(FilterFacts([filter_finding(hours=9.04)], now)) == (
        "9.0|6.3 – 13||138 Pa, 53 L/min"
    )
    assert page_of(FilterFacts()).startswith("||No forecast yet")
    assert page_of(FilterFacts(ever_heard=False)).startswith("||Nothing was ever heard")
    assert page_of(FilterFacts(), limit=None).startswith("||The plant file names no limit")
    assert page_of(FilterFacts(now=Drop(260.0, None))) == (
        "||The drop now lies above the limit.|260 Pa"
    )
    full = FilterFacts([filter_finding("filter_limit", hours=0.0)], now)
    assert page_of(full).startswith("||The limit is reached.")
    asked = FilterFacts([filter_finding(), filter_finding("filter_fell", 60, hours=None)])
    assert page_of(asked).startswith("||No forecast yet")


def test_one_point_is_no_curve_and_the_card_says_so() -> None:
    told = filter_finding("filter_limit", hours=None)
    facts = {PLANT.stations[0].id: FilterFacts([told])}
    page = maintenance_page(PLANT, SHELL, [], [], facts, [])
    html = renderer().render(page)
    assert "No curve yet: one point is known since the last change" in html
    assert '<svg class="forecast"' not in html
    two = {PLANT.stations[0].id: FilterFacts([replace(told, time=told.time - 1), told])}
    html = renderer().render(maintenance_page(PLANT, SHELL, [], [], two, []))
    assert "No curve yet" not in html
    assert '<svg class="forecast"' in html


def test_everything_is_escaped_and_the_buttons_are_for_maintenance_only() -> None:
    bad = replace(drift_finding(), words="<b>gun</b> a", next_step="<i>look</i>")
    done = Done(replace(filter_change(), note="<u>n</u>", author="<s>"), Drop(200.0, 50.0), None)
    page = maintenance_page(PLANT, SHELL, [standing(bad)], [], {}, [done])
    html = renderer().render(page)
    for tag in ("<b>gun", "<i>look", "<u>n", "<s>"):
        assert tag not in html
    assert "&lt;b&gt;gun" in html
    assert html.count('data-kind="changed"') == len(PLANT.stations)
    assert "200 Pa, 50 L/min" in html
    stranger = renderer().render(replace(page, shell=replace(SHELL, person=None)))
    assert "data-kind" not in stranger
    assert "Sign in to record a change" in stranger
    assert StationId("north", "bay-4") in {s.id for s in PLANT.stations}


@pytest.mark.parametrize(
    ("work", "after", "told"),
    [
        (FilterWork.CHANGED, Drop(90.0, 52.0), False),
        (FilterWork.CHANGED, Drop(246.0, 51.0), True),
        (FilterWork.TAPPED_OUT, Drop(280.0, 53.0), True),
        (FilterWork.CHANGED, Drop(280.0, 60.0), False),
        (FilterWork.CHANGED, Drop(280.0, None), True),
        (FilterWork.INSPECTED, Drop(280.0, 50.0), False),
        (FilterWork.CHANGED, None, False),
    ],
)
def test_a_drop_that_work_did_not_lower_is_told(
    work: FilterWork, after: Drop | None, told: bool
) -> None:
    done = Done(filter_change(work=work), Drop(246.0, 50.0), after)
    html = renderer().render(maintenance_page(PLANT, SHELL, [], [], {}, [done]))
    assert ('class="aside">The drop is no lower' in html) == told


def test_the_emptied_list_says_that_nothing_is_asked_for() -> None:
    """The sentence is there for the script to show once all is done."""
    hidden = 'id="nothing-to-do" hidden'
    full = maintenance_page(PLANT, SHELL, [standing(drift_finding())], [], {}, [])
    assert hidden in renderer().render(full)
    empty = renderer().render(maintenance_page(PLANT, SHELL, [], [], {}, []))
    assert hidden not in empty
    assert "The diagnosis asks for nothing." in empty


def test_a_viewer_is_told_who_records_work_on_a_filter() -> None:
    vera = Person("Vera", "viewer", frozenset())
    page = maintenance_page(PLANT, replace(SHELL, person=vera), [], [], {}, [])
    html = renderer().render(page)
    assert "Maintenance, quality and administrators record work on a filter." in html
    assert "Sign in as somebody else" in html
    assert 'data-kind="changed"' not in html


def test_each_line_of_the_work_list_has_a_box_to_tick_on_paper() -> None:
    item = WorkItem("f-1", WorkKind.FILTER, BAY_1, None, None, "change the filter", "do it", T0)
    html = renderer().render(work_list_page(PLANT, [item, item], SHELL))
    assert html.count('<span class="box" aria-hidden="true"></span>') == 2
    assert "/work-list" not in SHELL.path
    marked = renderer().render(work_list_page(PLANT, [item], replace(SHELL, path="/work-list")))
    assert 'href="/maintenance" aria-current="page"' in marked
