"""The readings server keeps to the contract of every readings store."""

from collections.abc import Iterator
from pathlib import Path

import pytest

import influx_server
from contract.readings_store_contract import ReadingsStoreContract
from influx_server import Gate
from steadybead_collector.stores import ServerAccess, open_readings
from steadybead_collector.stores.influx.lines import TIME_LIMIT
from steadybead_domain.ports import ReadingsStore


@pytest.fixture(scope="module")
def server() -> Iterator[Gate]:
    if (reason := influx_server.why_not()) is not None:
        pytest.skip(reason)
    with influx_server.readings_server() as gate:
        yield gate


class TestInflux(ReadingsStoreContract):
    far = TIME_LIMIT

    @pytest.fixture
    def store(self, server: Gate, tmp_path: Path) -> Iterator[ReadingsStore]:
        gate = influx_server.emptied(server)
        store = open_readings(
            gate.store_url(), tmp_path, None, server=ServerAccess(token=gate.token)
        )
        yield store
        store.close()
