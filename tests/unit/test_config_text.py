"""A plant file's text from elsewhere: the same answers, and no file of this machine is touched."""

import time
from pathlib import Path

import pytest

from plants_ingest import PLANT, plant_file
from steadybead_collector.config import PlantFileError, load_plant_file, read_plant_text
from steadybead_collector.config.reader import MOST_PROBLEMS


def _problems(text: str) -> list[str]:
    with pytest.raises(PlantFileError) as found:
        read_plant_text(text, "pasted", None)
    return [str(problem) for problem in found.value.problems]


def test_text_and_file_give_the_same(tmp_path: Path) -> None:
    loaded = load_plant_file(plant_file(tmp_path))
    assert read_plant_text(PLANT, "pasted", None) == loaded


def test_text_and_file_have_the_same_mistakes(tmp_path: Path) -> None:
    wrong = PLANT.replace('quantity = "nozzle_temperature"', 'quantity = "nozle_temperature"')
    with pytest.raises(PlantFileError) as found:
        load_plant_file(plant_file(tmp_path, wrong))
    assert _problems(wrong) == [str(problem) for problem in found.value.problems]
    assert "did you mean nozzle_temperature?" in _problems(wrong)[0]


SECRETS = """
[mqtt]
url = "mqtts://broker:8883"
user = "collector"
password_file = "{path}"
ca_file = "{path}"
[store]
readings = "influxdb+https://host:8086/bucket"
readings_token_file = "{path}"
readings_ca_file = "{path}"
[[notify]]
name = "welders"
url_file = "{path}"
"""


@pytest.mark.parametrize("path", ["/etc/passwd", "/nowhere/at/all", "../../x", "/dev/zero"])
def test_no_file_that_a_text_names_is_looked_up(path: str, tmp_path: Path) -> None:
    head, station, rest = PLANT.partition("[[station]]")
    text = head + SECRETS.format(path=path) + station + rest
    assert read_plant_text(text, "pasted", None).mqtt.password_file == Path(path)
    with pytest.raises(PlantFileError):  # the file's own way does look
        load_plant_file(plant_file(tmp_path, text))


@pytest.mark.parametrize(
    "text",
    [
        '[site]\nid = "n"\n[' + "a." * 60_000 + "b]\n",
        '[site]\nid = "n"\n[' + '"". b . ' * 40_000 + "b]\n",
        "a" * 250_000,
        '"' * 250_000,
        '[site]\nid = "n"\n[mqtt]\n' + "".join(f"k{i} = 1\n" for i in range(20_000)),
        "[[station]]\n" * 10_000,
        "x = " + "[" * 100_000,
    ],
    ids=[
        "deep key",
        "quoted deep key",
        "long word",
        "quotes",
        "many unknown keys",
        "many empty stations",
        "deep list",
    ],
)
def test_a_hostile_text_costs_little_and_is_answered(text: str) -> None:
    began = time.process_time()
    problems = _problems(text)
    assert 1 <= len(problems) <= MOST_PROBLEMS
    assert time.process_time() - began < 20.0  # the square of their number takes far longer
