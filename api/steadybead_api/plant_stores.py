"""The stores that a plant file names, opened with their secrets."""

from collections.abc import Iterator
from pathlib import Path

from steadybead_collector.config import PlantFile
from steadybead_collector.config.settings import read_secret
from steadybead_collector.records.database import Database, connect
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.records.weld_index import WeldSearch
from steadybead_collector.stores import ServerAccess, open_readings
from steadybead_domain.ports import ReadingsStore, Span
from steadybead_domain.times import MINUTE

AROUND_WELD = 2 * MINUTE
_WELDS = 500


def open_plant_records(plant_file: PlantFile, data_dir: Path) -> Records:
    """Open the records store that the plant file names; raise StoreError."""
    store = plant_file.store
    return open_records(store.records, data_dir, password=_records_password(plant_file))


def plant_database(plant_file: PlantFile, data_dir: Path) -> Database:
    """Connect to the database of the records, as it is; raise StoreError."""
    return connect(plant_file.store.records, data_dir, _records_password(plant_file))


def open_plant_readings(
    plant_file: PlantFile, data_dir: Path, records: Records | None, *, read_only: bool = False
) -> ReadingsStore:
    """Open the readings store that the plant file names; raise StoreError.

    What a readings server will not take goes to the quarantine of `records`.
    """
    settings = plant_file.store
    token = settings.readings_token_file
    server = ServerAccess(
        token=None if token is None else read_secret(token),
        ca_file=settings.readings_ca_file,
        spool_bytes=settings.spool_mb * 2**20,
        refuse=None if records is None else records.quarantine,
    )
    plant = plant_file.plant
    return open_readings(settings.readings, data_dir, plant, read_only=read_only, server=server)


def _records_password(plant_file: PlantFile) -> str | None:
    secret = plant_file.store.records_password_file
    return None if secret is None else read_secret(secret)


def weld_spans(records: Records, now: int) -> Iterator[Span]:
    """Walk the stretches that weld records cover, with what lies around them."""
    after = None
    while True:
        page = records.welds.page(WeldSearch(), _WELDS, after)
        for weld in page.items:
            end = now if weld.stop is None else weld.stop
            yield Span(weld.station, weld.start - AROUND_WELD, end + AROUND_WELD)
        after = page.next
        if after is None:
            return
