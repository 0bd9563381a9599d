"""Readings stores behind the `ReadingsStore` port."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from steadybead_collector.stores.memory import MemoryReadings
from steadybead_collector.stores.sqlite import SqliteReadings
from steadybead_domain.plant import Plant
from steadybead_domain.ports import ReadingsStore, Refused, StoreError

__all__ = ["MemoryReadings", "ServerAccess", "SqliteReadings", "open_readings"]


@dataclass(frozen=True, slots=True)
class ServerAccess:
    """What only a readings server needs beside its address.

    `refuse` keeps a quarantine row of each reading that the server will not take.
    """

    token: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    spool_bytes: int | None = None
    refuse: Callable[[Sequence[Refused]], None] | None = None


def open_readings(
    url: str,
    data_dir: Path,
    plant: Plant | None,
    *,
    read_only: bool = False,
    server: ServerAccess | None = None,
) -> ReadingsStore:
    """Open the readings store that `[store] readings` names.

    `sqlite` keeps one file in `data_dir`; `influxdb+http://…` a bucket on a server, with a spool
    in `data_dir`; `memory` keeps nothing, for tests. With `read_only` another process may be the
    writer. Raises StoreError with a remedy.
    """
    if url == "sqlite":
        return SqliteReadings(data_dir, plant, read_only=read_only)
    if url == "memory":
        return MemoryReadings()
    if url.startswith("influxdb+"):
        # Its client takes most of a second to import: only who uses it pays.
        from steadybead_collector.stores.influx.opening import open_influx  # noqa: PLC0415

        return open_influx(url, data_dir, plant, server or ServerAccess(), read_only=read_only)
    raise StoreError(
        f'[store] readings = "{url}" is not supported: write "sqlite", or "memory" for a trial'
        " that keeps nothing"
    )
