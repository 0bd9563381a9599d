"""A data folder that an earlier version wrote opens, whole, in this one."""

import shutil
import zipfile
from pathlib import Path

import apsw
import pytest

from frozen_shop import COUNT, DATA, NOZZLE, START, WELD, readings
from plants_ingest import PLANT
from steadybead_api.command import main
from steadybead_collector.evidence.roots import RootBook, day_start
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import SqliteReadings
from steadybead_collector.stores.database import FILE_NAME
from steadybead_collector.stores.schema import VERSION
from steadybead_domain.evidence.merkle import tree_hash
from steadybead_domain.readings import Batch, Columns
from steadybead_domain.times import DAY, SECOND

FROZEN = sorted(DATA.glob("shop-*.zip"))


@pytest.fixture(params=FROZEN, ids=[path.stem for path in FROZEN])
def thawed(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    with zipfile.ZipFile(request.param) as packed:
        packed.extractall(tmp_path)
    return tmp_path


def all_of(store: SqliteReadings) -> Columns:
    return Columns.concat(store.read(NOZZLE, START, START + DAY))


def test_something_is_frozen_and_small() -> None:
    assert FROZEN
    assert all(path.stat().st_size <= 100_000 for path in FROZEN)


def test_readings_records_root_and_trail_come_forward(thawed: Path) -> None:
    folder = thawed / "shop"
    records = open_records("sqlite", folder, lambda: START + 3 * DAY)
    weld = records.welds.get(WELD)
    assert weld is not None
    assert (weld.start, weld.stop) == (START, START + 1200 * SECOND)
    walked = records.audit.walk()
    assert walked.fault == ""
    assert walked.head is not None
    records.close()

    store = SqliteReadings(folder)
    found, wanted = all_of(store), readings()
    assert found.value.tobytes() == wanted.value.tobytes()
    assert found.time.tobytes() == wanted.time.tobytes()
    (root,) = RootBook(folder).roots()
    leaves = store.leaves(day_start(root.day), day_start(root.day) + DAY)
    assert tree_hash([leaf.sha256 for leaf in root.select(leaves)]).hex() == root.root
    store.close()

    config = thawed / "plant.toml"
    config.write_text(PLANT)
    assert main(["audit", "verify", "--config", str(config), "--data", str(folder)]) == 0


def test_a_readings_file_of_the_first_form_comes_forward_and_goes_on(thawed: Path) -> None:
    folder = thawed / "readings-1"
    store = SqliteReadings(folder)
    assert all_of(store).value.tobytes() == readings().value.tobytes()
    again = store.append(Batch(START + DAY, {NOZZLE: readings()}))
    assert again.duplicates == COUNT
    store.seal(START + DAY)
    assert all_of(store).value.tobytes() == readings().value.tobytes()
    assert len(store.leaves(START - DAY, START + DAY)) == 3
    store.close()
    connection = apsw.Connection(str(folder / FILE_NAME))
    assert connection.pragma("user_version") == VERSION
    connection.close()


def test_an_older_program_leaves_a_newer_file_alone(thawed: Path) -> None:
    folder = thawed / "newer"
    shutil.copytree(thawed / "readings-1", folder)
    connection = apsw.Connection(str(folder / FILE_NAME))
    connection.pragma("user_version", VERSION + 1)
    connection.close()
    before = (folder / FILE_NAME).read_bytes()
    with pytest.raises(Exception, match="newer Steadybead"):
        SqliteReadings(folder)
    assert (folder / FILE_NAME).read_bytes() == before
