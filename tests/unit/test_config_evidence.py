"""`[verdict]` and `[evidence]` of the plant file."""

from pathlib import Path

import pytest

from plants_ingest import PLANT, plant_file
from steadybead_collector.config import PlantFile, PlantFileError, load_plant_file
from steadybead_domain.verdict.rule import DEFAULT_RISK


def loaded(folder: Path, tables: str) -> PlantFile:
    first = PLANT.index("[[station]]")
    return load_plant_file(plant_file(folder, f"{PLANT[:first]}{tables}\n{PLANT[first:]}"))


def test_without_them_the_default_rule_holds(tmp_path: Path) -> None:
    found = load_plant_file(plant_file(tmp_path, PLANT))
    assert (found.rule.risk, found.rule.average_s) == (DEFAULT_RISK, 10.0)
    assert found.evidence.drop_folder is None


def test_the_shop_chooses_risk_and_time(tmp_path: Path) -> None:
    tables = '[verdict]\nrisk = 0.05\naverage_s = 30\n[evidence]\ndrop_folder = "outside"'
    found = loaded(tmp_path, tables)
    assert (found.rule.risk, found.rule.average_s) == (0.05, 30.0)
    assert found.evidence.drop_folder == tmp_path / "outside"


@pytest.mark.parametrize(
    ("tables", "told"),
    [
        ("[verdict]\nrisk = 0", "from 0.0001 to 0.25"),
        ("[verdict]\nrisk = 0.6", "from 0.0001 to 0.25"),
        ('[verdict]\nrisk = "low"', "not a number"),
        ("[verdict]\naverage_s = 0.1", "from 1 to 600"),
        ("[verdict]\nrisc = 0.05", "risk"),
        ("[evidence]\ndrop_folder = 3", "drop_folder is not a text"),
        ('[evidence]\nreceiver = "nobody"', "no .* is named nobody"),
    ],
)
def test_a_mistake_is_told_with_its_remedy(tmp_path: Path, tables: str, told: str) -> None:
    with pytest.raises(PlantFileError, match=told):
        loaded(tmp_path, tables)
