"""Opening the store of a readings server, for its one writer or for a reader."""

from pathlib import Path

from steadybead_collector.stores import ServerAccess
from steadybead_collector.stores.influx.address import InfluxAddress
from steadybead_collector.stores.influx.reader import InfluxReader
from steadybead_collector.stores.influx.refusals import refuse_nothing
from steadybead_collector.stores.influx.store import SPOOL_BYTES, InfluxReadings
from steadybead_domain.plant import Plant


def open_influx(
    url: str, data_dir: Path, plant: Plant | None, access: ServerAccess, *, read_only: bool
) -> InfluxReader:
    """Open the bucket that `url` names; StoreError with a remedy."""
    address = InfluxAddress.parse(url, access.token, access.ca_file)
    if read_only:
        return InfluxReader(address)
    return InfluxReadings(
        address,
        data_dir,
        plant,
        access.refuse or refuse_nothing,
        spool_bytes=access.spool_bytes or SPOOL_BYTES,
    )
