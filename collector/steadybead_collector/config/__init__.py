"""The plant file: read, checked whole, and turned into the plant and the servers' settings."""

from steadybead_collector.config.load import PlantFile, load_plant_file, read_plant_text
from steadybead_collector.config.problems import PlantFileError, Problem
from steadybead_collector.config.settings import AccessSettings, MqttSettings, StoreSettings

__all__ = [
    "AccessSettings",
    "MqttSettings",
    "PlantFile",
    "PlantFileError",
    "Problem",
    "StoreSettings",
    "load_plant_file",
    "read_plant_text",
]
