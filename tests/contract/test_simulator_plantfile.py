"""The simulator's reader of the plant file and the collector's understand the same plant."""

import dataclasses
from pathlib import Path

import pytest

from simulated_shop import ALL_KINDS
from steadybead_collector.config import load_plant_file
from steadybead_domain.plant import Plant
from steadybead_simulator import demo
from steadybead_simulator.places import FileError
from steadybead_simulator.plantfile import parse_plant, read_plant
from steadybead_simulator.plants import plant_of, plant_text


def both(tmp_path: Path, text: str) -> tuple[Plant, Plant]:
    file = tmp_path / "plant.toml"
    file.write_text(text, "utf-8")
    ours, collectors = read_plant(file), load_plant_file(file).plant
    # The working calendar is for notices and the work list; a station does not know it.
    return ours, dataclasses.replace(collectors, calendar=ours.calendar)


def test_the_demo(tmp_path: Path) -> None:
    ours, collectors = both(tmp_path, demo.PLANT.read_text("utf-8"))
    assert ours == collectors


def test_the_demo_needs_no_broker() -> None:
    assert load_plant_file(demo.PLANT).mqtt.url is None


def test_every_kind_of_conversion(tmp_path: Path) -> None:
    ours, collectors = both(tmp_path, ALL_KINDS)
    assert ours == collectors


@pytest.mark.parametrize("n", [1, 2, 3, 1000])
def test_generated_plants(tmp_path: Path, n: int) -> None:
    plant = plant_of(n)
    assert len(plant.stations) == n
    ours, collectors = both(tmp_path, plant_text(plant))
    assert ours == collectors
    assert ours.stations == plant.stations


def test_a_brokers_url_is_written(tmp_path: Path) -> None:
    file = tmp_path / "plant.toml"
    file.write_text(plant_text(plant_of(1), "mqtt://127.0.0.1:1999"), "utf-8")
    assert load_plant_file(file).mqtt.url == "mqtt://127.0.0.1:1999"


@pytest.mark.parametrize("n", [0, -1, 1001])
def test_sizes_out_of_range(n: int) -> None:
    with pytest.raises(ValueError, match="choose 1 to 1000"):
        plant_of(n)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('id = "south"', 'id = "so uth"', "name the site"),
        ('id = "cell-1"', 'id = "cell/1"', "name the station"),
        ('id = "gun-a/nozzle"', 'id = "nozzle"', "two names"),
        ('quantity = "air_flow"', 'quantity = "wind"', "quantity is one of"),
        ('type = "N"', 'type = "S"', "use one of K, J, N"),
        ('kind = "pulse"', 'kind = "pulses"', "kind is one of"),
        ('unit = "K"', 'unit = "Pa"', "use Cel"),
        ("at_low = 0,", "", "takes at_low"),
        ('to = "Cel"', 'to = "Pa"', "use to = 'Cel'"),
        ('principle = "pressure_drop"', 'principle = "magic"', "flow meter"),
    ],
)
def test_bad_plant_files_name_line_and_remedy(old: str, new: str, says: str) -> None:
    line = ALL_KINDS[: ALL_KINDS.index(old)].count("\n") + 1
    with pytest.raises(FileError) as caught:
        parse_plant("plant.toml", ALL_KINDS.replace(old, new, 1))
    assert f"line {line}:" in str(caught.value)
    assert says in str(caught.value)


def test_plants_of_one_level() -> None:
    assert {len(s.channels) for s in plant_of(2, level="full").stations} == {18}
    with pytest.raises(ValueError, match="choose one of"):
        plant_of(1, level="most")
    assert dataclasses.is_dataclass(plant_of(1))
