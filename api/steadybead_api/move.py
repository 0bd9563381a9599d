"""Moving a shop to other stores: both plant files in hand, both data folders locked."""

import contextlib
import sys
from pathlib import Path

from steadybead_api.plant_stores import open_plant_readings, plant_database
from steadybead_api.shop import folder_beside
from steadybead_collector.clock import wall_clock
from steadybead_collector.config import PlantFile, load_plant_file
from steadybead_collector.locking import lock_folder
from steadybead_collector.moving.readings import copy_readings
from steadybead_collector.moving.records import copy_records, least_seen
from steadybead_collector.records.migrate import upgrade
from steadybead_collector.records.store import Records
from steadybead_domain.errors import PlainError


def move(config: Path, data: Path | None, to: Path, to_data: Path | None) -> int:
    """Copy readings and records from the stores of one plant file to those of another."""
    source, target = load_plant_file(config), load_plant_file(to)
    old, new = folder_beside(config, data), folder_beside(to, to_data)
    _check(source, old, target, new)
    new.mkdir(parents=True, exist_ok=True)
    with contextlib.ExitStack() as stack:
        stack.enter_context(lock_folder(old))
        stack.enter_context(lock_folder(new))
        records, more_records = plant_database(source, old), plant_database(target, new)
        stack.callback(records.close)
        stack.callback(more_records.close)
        upgrade(records)
        upgrade(more_records)
        readings = open_plant_readings(source, old, Records(records))
        stack.callback(readings.close)
        more_readings = open_plant_readings(target, new, None)
        stack.callback(more_readings.close)
        moved = copy_readings(readings, more_readings, least_seen(records), wall_clock(), _say)
        while more_readings.maintain():
            pass
        rows, digest = copy_records(records, more_records, moved.positions)
    _say(f"{moved.readings} readings of {moved.channels} channels, the same there: {moved.sha256}")
    _say(f"{rows} rows of records, the same there: {digest}")
    if moved.forgotten:
        _say(
            f"{moved.forgotten} older readings had been forgotten; their summaries stay behind in"
            " the old store, keep it"
        )
    return 0


def _check(source: PlantFile, old: Path, target: PlantFile, new: Path) -> None:
    if not old.is_dir():
        raise PlainError(f"{old}: no such data folder; name it with --data")
    if source.plant.site != target.plant.site:
        raise PlainError(
            f"the plant files are of two sites, {source.plant.site} and {target.plant.site}:"
            " move a site to itself"
        )
    if old.absolute() == new.absolute():
        raise PlainError(f"{old} is the data folder of both: name another with --to-data")


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
