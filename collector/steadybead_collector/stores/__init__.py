"""Readings stores behind the `ReadingsStore` port."""

from pathlib import Path

from steadybead_collector.stores.memory import MemoryReadings
from steadybead_collector.stores.sqlite import SqliteReadings
from steadybead_domain.plant import Plant
from steadybead_domain.ports import ReadingsStore, StoreError

__all__ = ["MemoryReadings", "SqliteReadings", "open_readings"]


def open_readings(
    url: str, data_dir: Path, plant: Plant | None, *, read_only: bool = False
) -> ReadingsStore:
    """Open the readings store that `[store] readings` names.

    `sqlite` keeps one file in `data_dir`; `memory` keeps nothing, for tests. With `read_only`
    another process may be the writer. Raises StoreError with a remedy.
    """
    if url == "sqlite":
        return SqliteReadings(data_dir, plant, read_only=read_only)
    if url == "memory":
        return MemoryReadings()
    raise StoreError(
        f'[store] readings = "{url}" is not supported: write "sqlite", or "memory" for a trial'
        " that keeps nothing"
    )
