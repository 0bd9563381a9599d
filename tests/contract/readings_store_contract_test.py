from collections.abc import Iterator
from pathlib import Path

import pytest

from contract.readings_store_contract import ReadingsStoreContract
from steadybead_collector.stores import open_readings
from steadybead_domain.ports import ReadingsStore, StoreError


class TestMemory(ReadingsStoreContract):
    @pytest.fixture
    def store(self, tmp_path: Path) -> Iterator[ReadingsStore]:
        store = open_readings("memory", tmp_path, None)
        yield store
        store.close()


class TestSqlite(ReadingsStoreContract):
    @pytest.fixture
    def store(self, tmp_path: Path) -> Iterator[ReadingsStore]:
        store = open_readings("sqlite", tmp_path, None)
        yield store
        store.close()


def test_an_unknown_store_is_refused_with_what_is_supported(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"sqlite.*memory"):
        open_readings("rows", tmp_path, None)
