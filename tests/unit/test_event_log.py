"""The log: one line for each event, in three forms, with names that are written down."""

import ast
import io
import json
import logging
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from steadybead_collector.config import PlantFileError, load_plant_file
from steadybead_collector.event_log import EVENTS, FORMS, event, set_up

TOP = Path(__file__).parents[2]
PLANT = """[site]
id = "north"
timezone = "UTC"
[[station]]
id = "bay-1"
[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"
"""
NASTY = 'a "b"\nlevel=error event=forged\x1b[31m \\ é'


@pytest.fixture
def root() -> Iterator[None]:
    logger = logging.getLogger()
    before = (logger.handlers, logger.level)
    yield
    logger.handlers, logger.level = before
    for name in ("steadybead_collector", "steadybead_api", "steadybead_domain"):
        logging.getLogger(name).setLevel(logging.NOTSET)


def lines(form: str) -> list[str]:
    sink = io.StringIO()
    set_up(form, sink)
    log = logging.getLogger("steadybead_collector.test")
    log.info("a %s", NASTY, extra=event("store_fault", where=NASTY, n=3))
    log.debug("not told")
    logging.getLogger("other").info("not told either")
    try:
        int(NASTY)
    except ValueError:
        log.exception("stumbled")
    return sink.getvalue().splitlines()


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.usefixtures("root")
def test_a_record_is_one_line_whatever_it_tells(form: str) -> None:
    told = lines(form)
    assert len(told) == 2
    assert all(line.isprintable() for line in told)
    assert "store_fault" in told[0]
    assert "ValueError" in told[1]


@pytest.mark.usefixtures("root")
def test_json_gives_the_fields_back() -> None:
    first, second = map(json.loads, lines("json"))
    assert {k: first[k] for k in ("level", "event", "where", "n")} == {
        "level": "info",
        "event": "store_fault",
        "where": NASTY,
        "n": 3,
    }
    assert first["msg"] == f"a {NASTY}"
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", first["time"])
    assert (second["event"], second["level"]) == ("message", "error")
    assert "Traceback" in second["trace"]


@pytest.mark.usefixtures("root")
def test_logfmt_quotes_what_would_look_like_a_field() -> None:
    pairs = dict(re.findall(r'(\w+)=("(?:[^"\\]|\\.)*"|\S+)', lines("logfmt")[0]))
    assert set(pairs) == {"time", "level", "event", "logger", "msg", "where", "n"}
    assert pairs["level"] == "info"
    assert pairs["n"] == "3"


def _named() -> dict[str, str]:
    """Find each event that the product tells, with the place."""
    found = {}
    for folder in ("collector", "api"):
        for path in (TOP / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "event":
                    assert isinstance(node.args[0], ast.Constant), path
                    found[str(node.args[0].value)] = str(path)
    return found


def test_every_event_is_written_down_and_every_one_written_down_is_told() -> None:
    assert set(_named()) == set(EVENTS)
    readme = (TOP / "collector" / "README.md").read_text("utf-8")
    rows = dict(re.findall(r"^\| `(\w+)` \| (.+) \|$", readme, re.MULTILINE))
    assert {name: rows.get(name) for name in EVENTS} == EVENTS


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('health = "8766"', "bad health"),
        ('health = "localhost:99999"', "bad health"),
        ('log = "xml"', "unknown"),
        ("disk_low_mb = 0", "above 0"),
        ("quarantine_days = 1.5", "whole number"),
        ("quarantine_day = 1", "unknown key"),
    ],
)
def test_mistakes_in_operations_are_named(tmp_path: Path, line: str, said: str) -> None:
    file = tmp_path / "plant.toml"
    file.write_text(f"{PLANT}[operations]\n{line}\n")
    with pytest.raises(PlantFileError, match=said):
        load_plant_file(file)


def test_operations_have_their_usual_values(tmp_path: Path) -> None:
    file = tmp_path / "plant.toml"
    file.write_text(PLANT)
    usual = load_plant_file(file).operations
    assert (usual.health, usual.log) == (None, "text")
    assert (usual.disk_low_mb, usual.quarantine_days) == (500, 400)
    file.write_text(f'{PLANT}[operations]\nhealth = "[::1]:0"\nlog = "json"\n')
    assert load_plant_file(file).operations.health == ("::1", 0)
