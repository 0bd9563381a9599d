"""Bad scenarios get one message with the line and the remedy."""

from pathlib import Path

import pytest

from steadybead_simulator import demo
from steadybead_simulator.faults import KINDS
from steadybead_simulator.places import FileError
from steadybead_simulator.plants import plant_of
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.scenario_file import parse_scenario, read_scenario

PLANT = plant_of(3)
GOOD = """\
[scenario]
title = "A week"
start = 2026-03-02T06:30:00Z
duration = "5 d"
sample = "1 s"
pack = "2 s"

[calendar]
kind = "shift"
days = ["Mon", "Tue"]
start = "06:30"
end = "15:00"
breaks = [["09:00", "09:15"], ["12:00", "12:40"]]

[weather]
mean = "9 Cel"
altitude_m = 600

[dust]
kind = "depth"
level = "0.5 mg/m3"

[[welder]]
name = "w-9"
flow = "3.1 m3/h"
forgets_stop = 0.2

[[station]]
id = "bay-*"
set = "330 Cel"
welders = ["w-9"]
new_thermocouple = true

[[fault]]
kind = "thermocouple_offset"
station = "bay-1"
channel = "gun-a/nozzle"
size = "8 K"
at = "2 d 3 h"
over = "10 h"

[[fault]]
kind = "air_lost"
station = "bay-2"
gun = "a"
size = "90 %"
at = "2026-03-02T08:00:00Z"
lasts = "40 s"
every = "1 h"
times = 3
"""


def parse(text: str) -> Scenario:
    return parse_scenario("week.toml", text, PLANT)


def test_a_good_scenario() -> None:
    scenario = parse(GOOD)
    assert scenario.calendar.days == (0, 1)
    assert scenario.calendar.breaks == ((32_400.0, 33_300.0), (43_200.0, 45_600.0))
    assert scenario.welders[0].flow_l_min == pytest.approx(51.667, abs=1e-3)
    assert scenario.setup("bay-2").set_c == 330.0
    assert [f.start_s for f in scenario.faults_of("bay-2")] == [5400.0, 9000.0, 12_600.0]
    assert scenario.faults_of("bay-2")[0].end_s == 5440.0
    assert scenario.faults_of("bay-1")[0].over_s == 36_000.0


def test_the_demo_scenario() -> None:
    plant, scenario = demo.load()
    assert len(plant.stations) == 3
    assert {f.kind.name for f in scenario.faults} >= {
        "air_lost", "thermocouple_offset", "silence", "filter_loading",
    }  # fmt: skip
    assert "[mqtt]" not in demo.PLANT.read_text("utf-8").replace("no [mqtt]", "")


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ('[dust]\nkind = "depth"', '[dast]\nkind = "depth"', 19, "did you mean dust"),
        ('kind = "depth"', 'kind = "flour"', 20, "cake, depth, mixed"),
        ('level = "0.5 mg/m3"', "level = 0.5", 21, '"0.4 mg/m3"'),
        ('level = "0.5 mg/m3"', 'level = "0.5 Pa"', 21, "is a pressure, wanted a dust"),
        ('level = "0.5 mg/m3"', 'level = "0.5 fog"', 21, "is unknown"),
        ('level = "0.5 mg/m3"', 'level = "900 mg/m3"', 21, "outside what can be"),
        ("forgets_stop = 0.2", "forgets_stop = 2", 26, "from 0 to 1"),
        ("forgets_stop = 0.2", "forgets_stopp = 0.2", 26, "did you mean forgets_stop"),
        ('id = "bay-*"', 'id = "cell-*"', 29, "known are bay-1, bay-2, bay-3"),
        ('welders = ["w-9"]', 'welders = ["w-8"]', 31, "known are w-9"),
        ("new_thermocouple = true", 'new_thermocouple = "yes"', 32, "true or false"),
        ('end = "15:00"', 'end = "05:00"', 12, "ends before it starts"),
        ('end = "15:00"', 'end = "3 pm"', 12, "time of day"),
        ('["09:00", "09:15"]', '["05:00", "05:15"]', 13, "inside the shift"),
        ('days = ["Mon", "Tue"]', 'days = ["Mo"]', 10, "Mon, Tue, Wed"),
        ('sample = "1 s"', 'sample = "0.7 s"', 5, "must divide 5 min"),
        ('pack = "2 s"', 'pack = "1.5 s"', 6, "whole number of samples"),
        ("start = 2026-03-02T06:30:00Z", "start = 2026-03-02T06:30:00", 3, "with its zone"),
        ("altitude_m = 600", "altitude_m = true", 17, "write a number"),
        ('kind = "thermocouple_offset"', 'kind = "thermocuple_ofset"', 35, "did you mean"),
        ('station = "bay-1"', 'station = "bay-9"', 36, "no station 'bay-9'"),
        ('channel = "gun-a/nozzle"', 'channel = "gun-a/flow"', 37, "it can on gun-a/nozzle"),
        ('channel = "gun-a/nozzle"', 'gun = "a"', 37, "drop gun"),
        ('size = "8 K"', 'size = "8 Pa"', 38, "wanted a difference"),
        ('size = "8 K"', 'size = "800 K"', 38, "-200 to 200"),
        ('size = "8 K"', 'size = "0 K"', 38, "not 0"),
        ('size = "8 K"\n', "", 34, "has no unit"),
        ('at = "2 d 3 h"', 'at = "yesterday"', 39, "cannot be read"),
        ('at = "2 d 3 h"', 'at = "2026-01-01T00:00:00Z"', 39, "before the scenario's start"),
        ('over = "10 h"', 'over = "-10 h"', 40, "more than 0 s"),
        ('over = "10 h"', 'ovver = "10 h"', 40, "did you mean over"),
        ('gun = "a"', 'gun = "z"', 45, "known are a"),
        ('every = "1 h"', 'every = "30 s"', 49, "before it has gone"),
        ("times = 3", "times = 0", 50, "1 to 10000"),
        ("[scenario]", "[scenario", 1, "no TOML"),
    ],
)
def test_bad_input_names_the_line_and_the_remedy(old: str, new: str, line: int, says: str) -> None:
    assert old in GOOD
    with pytest.raises(FileError) as caught:
        parse(GOOD.replace(old, new, 1))
    message = str(caught.value)
    assert message.startswith("week.toml")
    assert f"line {line}" in message
    assert says in message


OVERLAP = """
[[fault]]
kind = "stuck"
station = "bay-1"
channel = "gun-a/nozzle"
at = "10 s"
lasts = "{lasts}"

[[fault]]
kind = "open_circuit"
station = "bay-1"
channel = "gun-a/nozzle"
at = "60 s"
"""


def test_overlapping_faults_name_both_lines() -> None:
    with pytest.raises(FileError) as caught:
        parse(OVERLAP.format(lasts="70 s"))
    assert "line 9" in str(caught.value)
    assert "line 2" in str(caught.value)
    assert "start the second later" in str(caught.value)


def test_faults_that_only_touch_are_fine() -> None:
    assert len(parse(OVERLAP.format(lasts="50 s")).faults) == 2


def test_a_date_needs_a_start() -> None:
    text = GOOD.replace("start = 2026-03-02T06:30:00Z\n", "")
    with pytest.raises(FileError, match="needs start"):
        parse(text)


def test_an_empty_scenario_is_the_plain_shop() -> None:
    assert parse("") == Scenario()


def test_an_unreadable_file(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="cannot be read"):
        read_scenario(tmp_path / "none.toml", PLANT)


def test_every_kind_says_what_it_is() -> None:
    for kind in KINDS.values():
        assert kind.says
        assert (kind.dimension is None) == (kind.low == kind.high == 0.0)
        assert kind.quantities
