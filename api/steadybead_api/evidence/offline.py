"""Services over the stores of a data folder, without a server; a collector may run beside."""

import contextlib
import dataclasses
from collections.abc import Iterator
from pathlib import Path

from steadybead_api.live_board import LiveBoard
from steadybead_api.plant_stores import open_plant_records
from steadybead_api.services import AccessPolicy, Services
from steadybead_api.shop import folder_beside
from steadybead_collector.clock import wall_clock
from steadybead_collector.config import PlantFile, load_plant_file
from steadybead_collector.records.store import Records
from steadybead_collector.stores import open_readings
from steadybead_domain.errors import PlainError
from steadybead_domain.plant import Plant


@contextlib.contextmanager
def offline_services(config: Path, data: Path | None) -> Iterator[tuple[Services, Path]]:
    """Open the stores for reading; raise PlainError where there are none."""
    plant_file = load_plant_file(config)
    data_dir = folder_beside(config, data)
    if not data_dir.is_dir():
        raise PlainError(f"{data_dir}: there is no such data folder: name it with --data")
    with contextlib.ExitStack() as stack:
        records = open_plant_records(plant_file, data_dir)
        stack.callback(records.close)
        plant = _plant(plant_file, records)
        readings = open_readings(plant_file.store.readings, data_dir, plant, read_only=True)
        stack.callback(readings.close)
        services = Services(
            readings=readings,
            records=records,
            plant=lambda: plant,
            live=LiveBoard(lambda: plant, wall_clock),
            access=AccessPolicy(),
            clock=wall_clock,
            rule=plant_file.rule,
            data_dir=data_dir,
        )
        yield services, data_dir


def _plant(plant_file: PlantFile, records: Records) -> Plant:
    """Give the plant with the number under which its file was accepted."""
    known = (v for v in records.plants.versions() if v.sha256 == plant_file.plant.sha256)
    found = next(known, None)
    plant = plant_file.plant
    return plant if found is None else dataclasses.replace(plant, version=found.version)
