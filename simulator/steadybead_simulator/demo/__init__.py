"""The demo shop's plant file and scenario."""

from pathlib import Path

from steadybead_domain.plant import Plant
from steadybead_simulator.plantfile import read_plant
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.scenario_file import read_scenario

PLANT = Path(__file__).with_name("plant.toml")
SCENARIO = Path(__file__).with_name("scenario.toml")


def load() -> tuple[Plant, Scenario]:
    """Read the demo's plant and scenario."""
    plant = read_plant(PLANT)
    return plant, read_scenario(SCENARIO, plant)
