"""The plant file's keys for the air in a flow meter and for a shop's own uncertainties."""

from pathlib import Path

import pytest

from plants_ingest import PLANT, plant_file
from steadybead_collector.config import PlantFileError, load_plant_file
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.uncertainty.assumptions import flow_assumptions, nozzle_assumptions
from steadybead_domain.uncertainty.nozzle import nozzle_budget

METER = 'principle = "thermal_mass"\nreference = "DIN 1343"'
NOZZLE = 'quantity = "nozzle_temperature"\nunit = "mV"'


def channel(folder: Path, quantity: Quantity, old: str, new: str) -> Channel:
    assert old in PLANT
    plant = load_plant_file(plant_file(folder, PLANT.replace(old, new, 1))).plant
    station = plant.station(StationId("north", "bay-1"))
    found = None if station is None else station.channel_of(quantity, "a")
    assert found is not None
    return found


def test_the_air_in_the_meter_is_named_or_given(tmp_path: Path) -> None:
    lines = """principle = "variable_area"
temperature_at = "gun-a/terminal"
pressure_at = 112000
scale_temperature_c = 15
scale_pressure_pa = 100000"""
    flow = channel(tmp_path, Quantity.AIR_FLOW, METER, lines).flow
    assert flow is not None
    assert (flow.temperature_at, flow.pressure_at) == ("gun-a/terminal", 112_000.0)
    assert (flow.scale_temperature_c, flow.scale_pressure_pa) == (15.0, 100_000.0)


@pytest.mark.parametrize(
    ("line", "message", "remedy"),
    [
        ('temperature_at = "gun-a/inlet"', "is no channel of this station", "name one"),
        ('temperature_at = "gun-a/flow"', "temperature_at", "does not fit here"),
        ("temperature_at = 400", "temperature_at 400 cannot be", "-40 to 150"),
        ("temperature_at = true", "temperature_at True cannot be", "name a channel"),
        ('pressure_at = "gun-a/terminal"', "pressure_at", "does not fit here"),
        ("pressure_at = 1013.25", "pressure_at 1013.25 cannot be", "50000"),
        ("scale_pressure_pa = 1", "scale_pressure_pa 1 cannot be", "50000"),
        ('scale_temperature_c = "warm"', "scale_temperature_c is not a number", "1.5"),
    ],
)
def test_a_meter_that_cannot_be_is_named_with_its_remedy(
    tmp_path: Path, line: str, message: str, remedy: str
) -> None:
    text = PLANT.replace(METER, f"{METER}\n{line}", 1)
    with pytest.raises(PlantFileError) as refused:
        load_plant_file(plant_file(tmp_path, text))
    (problem,) = refused.value.problems
    assert message in str(problem)
    assert remedy in str(problem)
    assert problem.line == text[: text.index(line)].count("\n") + 1


def test_these_keys_belong_to_a_flow_meter(tmp_path: Path) -> None:
    text = PLANT.replace(NOZZLE, f"{NOZZLE}\npressure_at = 101325", 1)
    with pytest.raises(PlantFileError, match="nozzle_temperature has no flow meter"):
        load_plant_file(plant_file(tmp_path, text))


def test_a_shop_puts_its_own_figures_in_the_place_of_assumptions(tmp_path: Path) -> None:
    own = "uncertainty = { position_c = 2.0, tolerance_class = 2 }"
    found = channel(tmp_path, Quantity.NOZZLE_TEMPERATURE, NOZZLE, f"{NOZZLE}\n{own}")
    taken = nozzle_assumptions(found)
    assert (taken.letter, taken.position_c, taken.tolerance_class) == ("K", 2.0, 2)
    terms = {t.name: t for t in nozzle_budget(320.0, assumptions=taken).terms}
    position = terms["position in the nozzle, not corrected by a reference check"]
    assert (position.half_width, position.assumed, position.source) == (
        2.0,
        False,
        "by the plant file",
    )
    assert not terms["tolerance, type K class 2"].assumed
    assert terms["ordering drift"].assumed
    flow = channel(
        tmp_path, Quantity.AIR_FLOW, METER, f"{METER}\nuncertainty = {{ accuracy_share = 0.01 }}"
    )
    assert flow_assumptions(flow).accuracy_share == 0.01
    assert flow_assumptions(flow).given == {"accuracy_share"}


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("uncertainty = { positon_c = 1 }", "did you mean position_c"),
        ("uncertainty = { position_c = -1 }", "half-width of 0 or more"),
        ("uncertainty = { tolerance_class = 3 }", "write 1 or 2"),
        ('uncertainty = { letter = "X" }', "no thermocouple type"),
        ("uncertainty = { noise_time_s = 0 }", "above 0"),
        ("uncertainty = { given = 1 }", "unknown key"),
        ("uncertainty = 3", "is not a table"),
    ],
)
def test_wrong_figures_are_named(tmp_path: Path, line: str, words: str) -> None:
    text = PLANT.replace(NOZZLE, f"{NOZZLE}\n{line}", 1)
    with pytest.raises(PlantFileError) as refused:
        load_plant_file(plant_file(tmp_path, text))
    assert words in " ".join(str(p) for p in refused.value.problems)


def test_other_quantities_have_no_budget(tmp_path: Path) -> None:
    text = PLANT.replace(
        'quantity = "in_stand"', 'quantity = "in_stand"\nuncertainty = { position_c = 1 }', 1
    )
    with pytest.raises(PlantFileError) as refused:
        load_plant_file(plant_file(tmp_path, text))
    assert "no uncertainty budget is kept for in_stand" in str(refused.value.problems[0])
