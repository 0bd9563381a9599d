"""Whatever stands in a file, the answer is a plant or a scenario, or one clear message."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulated_shop import ALL_KINDS
from steadybead_simulator import demo
from steadybead_simulator.places import FileError, Places
from steadybead_simulator.plantfile import parse_plant
from steadybead_simulator.plants import plant_of
from steadybead_simulator.scenario_file import parse_scenario

PLANT = plant_of(3)
DEMO_PLANT, _ = demo.load()
SCENARIO = demo.SCENARIO.read_text("utf-8")
JUNK = st.sampled_from(
    [
        "5", "-1", "0", "true", '""', '"x"', "[]", "{}", "[1]", '["a"]', "[[1, 2]]", "1e300",
        "nan", "inf", "2026-03-02", "07:30:00", "2026-03-02T00:00:00Z", '"1 s"', '"1 K"',
        '"9e999 s"', "[{}]", "{ a = 1 }", '"../x"',
    ]
)  # fmt: skip
KEY = re.compile(r"^(\s*[\w.]+\s*=\s*)(.+)$", re.MULTILINE)


def spoiled(text: str, which: int, junk: str) -> str:
    found = list(KEY.finditer(text))
    hit = found[which % len(found)]
    return text[: hit.start(2)] + junk + text[hit.end(2) :]


@settings(deadline=None, max_examples=400)
@given(st.integers(0, 10_000), JUNK)
def test_a_spoiled_plant_file(which: int, junk: str) -> None:
    try:
        plant = parse_plant("plant.toml", spoiled(ALL_KINDS, which, junk))
    except FileError as error:
        message = str(error)
    else:
        message = f"plant.toml, line 1: {plant.site}"
    assert message.startswith("plant.toml")
    assert "\n" not in message


@settings(deadline=None, max_examples=600)
@given(st.integers(0, 10_000), JUNK)
def test_a_spoiled_scenario(which: int, junk: str) -> None:
    try:
        scenario = parse_scenario("day.toml", spoiled(SCENARIO, which, junk), DEMO_PLANT)
    except FileError as error:
        message = str(error)
    else:
        message = f"day.toml, line 1: {len(scenario.faults)} faults"
    assert message.startswith("day.toml")
    assert "\n" not in message


@given(st.text(max_size=200))
def test_any_text_is_refused_or_read(text: str) -> None:
    try:
        scenario = parse_scenario("any.toml", text, PLANT)
    except FileError as error:
        assert str(error).startswith("any.toml")  # noqa: PT017  # either is right
    else:
        assert scenario.sample_s > 0.0


@given(st.text(max_size=300))
def test_places_read_any_text(text: str) -> None:
    assert Places(text).line(("station", 0, "id")) >= 1


def test_places_know_tables_in_tables() -> None:
    text = "[[a]]\n[[a.b]]\nx = 1\n[[a.b]]\nx = 2\n[[a]]\n[a.c]\ny = 3\n"
    places = Places(text)
    assert places.line(("a", 0, "b", 0, "x")) == 3
    assert places.line(("a", 0, "b", 1, "x")) == 5
    assert places.line(("a", 1, "c", "y")) == 8
    assert places.line(("a", 1, "nothing")) == 6


@pytest.mark.parametrize("zone", ["Mars/Base", "", "../etc"])
def test_an_unknown_time_zone(zone: str) -> None:
    text = ALL_KINDS.replace("Europe/Madrid", zone)
    with pytest.raises(FileError, match=r"line 3: .*Europe/Lisbon"):
        parse_plant("plant.toml", text)
