"""Contexts and templates without a server: order, words, escaping, no inline code."""

from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from zoneinfo import ZoneInfo

import pytest

from fakes_pages import PLANT, fact
from steadybead_dashboards.alarm_cards import alarm_cards
from steadybead_dashboards.catalogue import LANGUAGES
from steadybead_dashboards.expected import expected
from steadybead_dashboards.floor import floor_page, todays_welds
from steadybead_dashboards.readout import readout
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.shell import Person, Shell
from steadybead_dashboards.signin import ProblemPage, SignInPage, own_path
from steadybead_dashboards.station import station_page
from steadybead_dashboards.tiles import FIT_SO_FAR, WATCHED, tile
from steadybead_dashboards.weld import weld_page
from steadybead_dashboards.weld_list import weld_list_page
from steadybead_dashboards.words import ALARM_STATES, FITNESS, GUN_STATES, PRIORITIES, QUANTITIES
from steadybead_domain.alarms.model import Alarm, AlarmState, Priority
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.ids import StationId
from steadybead_domain.live import Fitness, GunState, LiveGun, LiveStation, LiveValue
from steadybead_domain.plant import PointerSource
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import MINUTE, SECOND, parse_rfc3339
from steadybead_domain.welds import Weld

NOW = parse_rfc3339("2026-07-01T10:00:00Z")
BAY_1 = StationId("north", "bay-1")
EVERYTHING = frozenset({"weld", "acknowledge", "see welders"})
ANA = Person("Ana <i>Reis</i>", "administrator", EVERYTHING)
SHELL = Shell("North works", ZoneInfo("Europe/Lisbon"), NOW, "/", ANA, "csrf-1")
PROCEDURE = Procedure(
    "pp-speed-nozzle",
    "PP, 100 % <b>speed</b>",
    "PP",
    "641",
    Window(300.0, 340.0, "Cel"),
    Window(45.0, None, "L/min"),
    FlowReference.DIN_1343,
    "invented for tests",
    "none",
)
WELD = Weld("w-1", BAY_1, "a", NOW - MINUTE, None, "pp-speed-nozzle", 1, "J", "S<1>", "M. Duarte")


def live(
    state: GunState, fitness: Fitness, value: float | None, quality: str = "good"
) -> LiveStation:
    row = LiveValue(
        "gun-a/nozzle", "nozzle_temperature", NOW, value, "Cel", quality, "", 300.0, 340.0
    )
    reasons = () if fitness is Fitness.FIT else ("heater output 100 % <script>",)
    guns = (LiveGun("a", state, NOW - MINUTE, None, "pp-speed-nozzle"),)
    return LiveStation(BAY_1, NOW, fitness, reasons, guns, (row,))


def alarm(name: str, priority: Priority, state: AlarmState, age_s: int) -> Alarm:
    raised = fact(name, "bay-2", "what", priority, NOW - age_s * SECOND, active=True)
    return Alarm(
        raised,
        state,
        active=True,
        cleared=None,
        acknowledged_by="",
        acknowledged_at=None,
        shelved_until=None,
    )


def test_every_state_has_its_word() -> None:
    assert set(FITNESS) == set(Fitness)
    assert set(GUN_STATES) == set(GunState)
    assert set(PRIORITIES) == set(Priority)
    assert set(ALARM_STATES) == set(AlarmState)
    assert set(QUANTITIES) == set(Quantity)


def test_alarms_stand_in_the_order_in_which_to_take_them() -> None:
    new, seen = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
    alarms = [
        alarm("seen-high", Priority.HIGH, seen, 5),
        alarm("new-low", Priority.LOW, new, 5),
        alarm("new-high-old", Priority.HIGH, new, 50),
        alarm("new-high", Priority.HIGH, AlarmState.RETURNED, 10),
        alarm("shelved", Priority.HIGH, AlarmState.SHELVED, 1),
        alarm("latched", Priority.LOW, AlarmState.LATCHED_ACKNOWLEDGED, 1),
    ]
    cards = alarm_cards(alarms, PLANT, SHELL)
    order = ["new-high-old", "new-high", "new-low", "seen-high", "latched"]
    assert [card.id for card in cards] == order
    assert [card.may_acknowledge for card in cards] == [True, True, True, False, True]
    assert cards[0].place == "Bay 2"


@pytest.mark.parametrize(
    ("state", "abnormal"),
    [
        (GunState.READY, True),
        (GunState.WELDING, True),
        (GunState.HOT, True),
        (GunState.WARMING, False),
        (GunState.COOLING, False),
        (GunState.OFF, False),
        (GunState.NO_DATA, False),
    ],
)
def test_out_of_window_counts_only_where_the_window_counts(state: GunState, abnormal: bool) -> None:
    channel = PLANT.stations[0].channels[0]
    row = readout(channel, live(state, Fitness.NOT_FIT, 120.0), state)
    assert (row.text, row.abnormal) == ("120", abnormal)


def test_an_old_value_says_its_age() -> None:
    channel = PLANT.stations[0].channels[0]
    later = replace(live(GunState.READY, Fitness.FIT, 320.0), time=NOW + 42 * SECOND)
    assert readout(channel, later, GunState.READY).age_s == 42


def test_a_value_that_never_came_leads_to_its_sensor() -> None:
    nozzle, flow = PLANT.stations[0].channels[:2]
    now = live(GunState.READY, Fitness.FIT, 320.0)
    assert readout(nozzle, now, GunState.READY).unheard == ""
    assert readout(flow, now, GunState.READY).unheard == "/sensors/north/bay-1/gun-a/flow"
    assert readout(flow, None, None).unheard == ""  # then it is said of the whole station


def test_what_is_expected_of_a_sender() -> None:
    flow = PLANT.stations[0].channels[1]
    own = expected(flow, "shop/v2")
    assert (own.topic, own.name, own.pointer) == ("shop/v2/north/bay-1/senml", "gun-a/flow", None)
    foreign = expected(replace(flow, source=PointerSource("plc/7", "/flow/0")), "shop/v2")
    assert (foreign.topic, foreign.pointer) == ("plc/7", "/flow/0")


def test_warming_up_is_not_fit_and_yet_quiet() -> None:
    station = PLANT.stations[0]
    warming = live(GunState.WARMING, Fitness.NOT_FIT, 120.0)
    assert tile(station, warming, SHELL).quiet
    assert not tile(station, warming, SHELL, has_alarm=True).quiet
    assert not tile(station, live(GunState.HOT, Fitness.NOT_FIT, 120.0), SHELL).quiet


@pytest.mark.parametrize(("kind", "presses"), [("filter_limit", False), ("air_lost_heat_on", True)])
def test_upkeep_does_not_colour_a_station_that_warms_up(kind: str, presses: bool) -> None:
    known = alarm("al", Priority.MEDIUM, AlarmState.UNACKNOWLEDGED, 60)
    standing = replace(known, raised=replace(known.raised, kind=kind))
    (card,) = alarm_cards([standing], PLANT, SHELL)
    assert card.presses is presses


def test_a_station_of_which_nothing_was_heard_has_no_data() -> None:
    shown = tile(PLANT.stations[0], None, SHELL)
    assert shown.fitness is Fitness.NO_DATA
    assert [gun.state for gun in shown.guns] == [GunState.NO_DATA, GunState.NO_DATA]


class Reader(HTMLParser):
    """Collects what a strict content policy would refuse, and the words."""

    def __init__(self) -> None:
        super().__init__()
        self.inline: list[str] = []
        self.words: list[str] = []
        self.ids: list[str] = []
        self._data = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.inline += [f"{tag} {name}" for name, _ in attrs if name.startswith("on")]
        self.inline += [f"{tag} style" for name, _ in attrs if name == "style"]
        self._data = tag == "script" and values.get("type") == "application/json"
        if tag in {"script", "style"} and "src" not in values and not self._data:
            self.inline.append(tag)
        if (name := values.get("id")) is not None:
            self.ids.append(name)

    def handle_endtag(self, tag: str) -> None:
        self._data = self._data and tag != "script"

    def handle_data(self, data: str) -> None:
        if not self._data and data.strip():
            self.words.append(data.strip())


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    return reader


def all_pages(shell: Shell) -> dict[str, str]:
    pages = renderer()
    station = PLANT.stations[0]
    now = {BAY_1: live(GunState.WARMING, Fitness.NOT_FIT, None, "bad")}
    alarms = [alarm("a", Priority.HIGH, AlarmState.UNACKNOWLEDGED, 5)]
    known = {PROCEDURE.id: PROCEDURE}
    contexts: dict[str, Page] = {
        "floor": floor_page(PLANT, now, alarms, shell),
        "station": station_page(
            PLANT, station, now[BAY_1], shell, alarms=alarms, procedures=known, welds=[WELD]
        ),
        "welds": weld_list_page(PLANT, [WELD], known, shell, older="/welds?cursor=1.1"),
        "weld": weld_page(PLANT, WELD, PROCEDURE, shell),
        "signin": SignInPage(shell, "/welds", "no"),
        "problem": ProblemPage(shell, 404, "No such station", "Choose another."),
    }
    return {name: pages.render(page) for name, page in contexts.items()}


@pytest.mark.parametrize("person", [ANA, None], ids=["signed in", "stranger"])
def test_pages_are_escaped_whole_and_free_of_inline_code(person: Person | None) -> None:
    for name, html in all_pages(replace(SHELL, person=person)).items():
        reader = read(html)
        assert reader.inline == [], name
        assert len(reader.ids) == len(set(reader.ids)), name
        assert "<i>" not in html, name
        assert "<script>" not in html, name
        assert "S<1>" not in html, name
        assert any("safe to touch" in words for words in reader.words), name


@pytest.mark.parametrize(
    ("state", "value", "hint"),
    [
        (GunState.OFF, 20.0, "The gun is off or cold: a record started now will show that."),
        (
            GunState.WARMING,
            120.0,
            "The gun is still warming: a record started now will show too little heat.",
        ),
        (
            GunState.COOLING,
            120.0,
            "The gun is cooling, its heat is off: a record started now will show that.",
        ),
        (
            GunState.READY,
            351.0,
            "A value is outside its window: a record started now will show that.",
        ),
        (GunState.READY, 320.0, ""),
        (GunState.HOT, 320.0, ""),
        (None, None, "Nothing is heard of this gun: a record started now will have no readings."),
    ],
)
def test_the_form_says_what_a_record_started_now_would_show(
    state: GunState | None, value: float | None, hint: str
) -> None:
    now = None if state is None else live(state, Fitness.FIT, value)
    page = station_page(PLANT, PLANT.stations[0], now, SHELL, alarms=[], procedures={}, welds=[])
    assert page.benches[0].start_hint == hint
    words = read(renderer().render(page)).words
    assert (hint in words) == bool(hint)
    german = read(renderer().render(replace(page, shell=replace(SHELL, language="de")))).words
    assert hint not in german
    assert any(
        "jetzt gestartetes Protokoll" in w for w in german[: german.index("Gerät b")]
    ) == bool(hint)


def test_a_percent_sign_of_the_shop_is_no_placeholder() -> None:
    pages = all_pages(SHELL)
    assert "heater output 100 % <script>" in read(pages["floor"]).words
    assert "PP, 100 % <b>speed</b>" in read(pages["station"]).words


def test_a_stranger_is_offered_the_sign_in_and_no_act() -> None:
    pages = all_pages(replace(SHELL, person=None, csrf=""))
    assert "Sign in to acknowledge" in read(pages["floor"]).words
    assert "Start the record" not in read(pages["station"]).words
    assert "M. Duarte" not in pages["weld"]
    assert "M. Duarte" in all_pages(SHELL)["weld"]


def test_a_viewer_is_told_whose_act_it_is_and_not_to_sign_in_once_more() -> None:
    viewer = Person("Vera", "viewer", frozenset())
    pages = all_pages(replace(SHELL, person=viewer))
    floor, station = read(pages["floor"]).words, read(pages["station"]).words
    assert "Welders, maintenance, quality and administrators acknowledge." in floor
    assert "Welders, quality and administrators start and stop records." in station
    for words in (floor, station):
        assert "Sign in as somebody else" in words
        assert not any(w.startswith("Sign in to") for w in words)


@pytest.mark.parametrize(
    ("path", "page"),
    [
        ("/", "/"),
        ("/stations/north/bay-1", "/"),
        ("/welds?job=4711&seam=12", "/welds"),
        ("/welds/w-1", "/welds"),
        ("/work-list", "/maintenance"),
        ("/sensors/north/bay-1/gun-a/nozzle", "/sensors"),
        ("/account", None),
    ],
)
def test_the_bar_shows_where_one_is(path: str, page: str | None) -> None:
    html = all_pages(replace(SHELL, path=path))["problem"]
    assert html.count('aria-current="page"') == (page is not None)
    assert page is None or f'<a href="{page}" aria-current="page">' in html


def test_templates_import_the_parts_that_they_use() -> None:
    folder = files("steadybead_dashboards") / "templates"
    for template in folder.iterdir():
        text = template.read_text("utf-8")
        if "{{ parts." in text:
            assert 'import "parts.html" as parts' in text, template.name


def test_a_welder_begins_under_the_own_name() -> None:
    rui = Person("Rui", "welder", EVERYTHING)
    assert (
        'name="welder" maxlength="80" value="Rui"'
        in all_pages(replace(SHELL, person=rui))["station"]
    )
    assert 'name="welder" maxlength="80" value=""' in all_pages(SHELL)["station"]


def test_words_of_scripts_cannot_leave_their_block() -> None:
    html = all_pages(SHELL)["floor"]
    start = html.index('id="words">') + len('id="words">')
    assert "<" not in html[start : html.index("</script>", start)]


@pytest.mark.parametrize(
    ("path", "own"),
    [
        ("/welds?station=north/bay-1", "/welds?station=north/bay-1"),
        ("//elsewhere.example/", "/"),
        ("https://elsewhere.example/", "/"),
        ("/\\elsewhere.example", "/"),
        ("/a\nb", "/"),
        ("", "/"),
    ],
)
def test_only_own_paths_are_returned_to(path: str, own: str) -> None:
    assert own_path(path) == own


@pytest.mark.parametrize("language", LANGUAGES)
def test_pages_say_their_language_and_leave_nothing_english(language: str) -> None:
    for name, html in all_pages(replace(SHELL, language=language)).items():
        assert f'<html lang="{language}"' in html, name
        words = " ".join(read(html).words)
        assert ("Zum Inhalt springen" in words) == (language == "de"), name
        assert ("Skip to the content" in words) == (language == "en"), name
        assert f'lang="{language}" aria-current="true"' in html, name


def test_a_value_outside_its_window_is_said_before_there_is_an_alarm() -> None:
    shown = tile(PLANT.stations[0], live(GunState.READY, Fitness.FIT, 351.0), SHELL)
    assert (shown.watched, shown.fitness, shown.quiet) == (True, Fitness.FIT, False)
    assert (shown.word, shown.reasons) == (FIT_SO_FAR, (WATCHED,))
    # A gun that is cooling is outside, too, and nobody minds.
    for calm in (live(GunState.READY, Fitness.FIT, 320.0), live(GunState.OFF, Fitness.FIT, 80.0)):
        there = tile(PLANT.stations[0], calm, SHELL)
        assert (there.watched, there.word, there.reasons) == (False, "Fit", ())
    against = tile(PLANT.stations[0], live(GunState.READY, Fitness.NOT_FIT, 351.0), SHELL)
    assert (against.watched, against.word) == (False, "Not fit")


@pytest.mark.parametrize(
    ("job", "seam", "title", "line"),
    [
        ("T-9", "S1", "Job T-9, seam S1", "T-9 / S1"),
        ("T-9", None, "Job T-9", "T-9"),
        (None, "S1", "Seam S1", "seam S1"),
        (None, None, "Weld record", "no job named"),
    ],
)
def test_a_record_is_named_by_what_was_given(
    job: str | None, seam: str | None, title: str, line: str
) -> None:
    weld = replace(WELD, job=job, seam=seam, stop=NOW)
    alone = renderer().render(weld_page(PLANT, weld, PROCEDURE, SHELL))
    assert f"<h1>{title}</h1>" in alone
    today = todays_welds(PLANT, [weld], {}, {}, SHELL)
    floor = renderer().render(floor_page(PLANT, {}, [], SHELL, today=today))
    assert f'<span class="today-job">{line}</span>' in floor
    station = station_page(
        PLANT, PLANT.stations[0], None, SHELL, alarms=[], procedures={}, welds=[weld]
    )
    place = renderer().render(station)
    assert f"<span>{line}</span>" in place
