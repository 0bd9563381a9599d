"""Faults of the file and of the disk: one clear message, nothing acknowledged lost."""

import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import apsw
import numpy as np
import pytest

from steadybead_collector.stores import SqliteReadings, journal, schema
from steadybead_collector.stores.backup import backup, check, restore
from steadybead_collector.stores.database import FILE_NAME
from steadybead_domain.plant import Channel, Plant, Station
from steadybead_domain.ports import StoreError
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Batch
from steadybead_domain.times import DAY
from store_samples import NOZZLE, OTHER, START, WINDOW, all_of, batch, bits, reading, settle, steady


def filled(folder: Path, n: int = 20_000) -> SqliteReadings:
    store = SqliteReadings(folder)
    store.append(Batch(START, {NOZZLE: steady(n)}))
    store.seal(START + 30 * DAY)
    return store


def limit_pages(store: SqliteReadings, pages: int | None) -> None:
    """Let the file grow to so many pages; None: without limit."""
    with store._database.writing() as connection:
        count = connection.pragma("page_count")
        connection.pragma("max_page_count", 2**30 if pages is None else count + pages)


def test_a_full_disk_refuses_the_append_and_keeps_the_rest(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path)
    store.append(Batch(START, {NOZZLE: steady(5_000)}))
    limit_pages(store, 0)
    big = Batch(START, {OTHER: steady(50_000)})
    for _ in range(2):
        with pytest.raises(StoreError, match=r"disk is full.*free space"):
            store.append(big)
    assert store.latest([OTHER]) == {}
    assert list(store.read(OTHER, START, START + DAY)) == []
    limit_pages(store, None)
    assert len(store.append(big).accepted) == 50_000
    assert bits(all_of(store, NOZZLE, START, START + DAY)) == bits(steady(5_000))
    assert bits(all_of(store, OTHER, START, START + DAY)) == bits(steady(50_000))
    store.close()


def test_a_full_disk_stops_housekeeping_without_loss(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path)
    rng = np.random.default_rng(3)
    rows = steady(20_000)
    rows.value[:] = rng.normal(300.0, 1.0, 20_000)
    rows.raw[:] = rng.normal(12.0, 1.0, 20_000)
    store.append(Batch(START, {NOZZLE: rows}))
    limit_pages(store, 1)
    with pytest.raises(StoreError, match=r"disk is full"):
        store.seal(START + DAY)
    assert bits(all_of(store, NOZZLE, START, START + DAY)) == bits(rows)
    limit_pages(store, None)
    store.seal(START + DAY)
    assert bits(all_of(store, NOZZLE, START, START + DAY)) == bits(rows)
    store.close()
    store = SqliteReadings(tmp_path)
    assert bits(all_of(store, NOZZLE, START, START + DAY)) == bits(rows)
    store.close()


WRITE_UNTIL_REFUSED = """
import resource, signal, sys
from pathlib import Path
from store_samples import NOZZLE, START, steady
from steadybead_collector.stores import SqliteReadings
from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Batch
store = SqliteReadings(Path(sys.argv[1]))
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (2**20, 2**20))
rows = steady(100_000)
for k in range(1_000):
    try:
        store.append(Batch(START, {NOZZLE: rows.take(slice(100 * k, 100 * k + 100))}))
    except StoreError as error:
        print(k, error)
        break
"""


def run_python(code: str, *arguments: str) -> str:
    path = os.pathsep.join(part for part in sys.path if part)
    found = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": path},
    )
    return found.stdout


def test_a_disk_that_refuses_to_write_loses_nothing_acknowledged(tmp_path: Path) -> None:
    """The operating system itself refuses: a limit on the size of files."""
    assert resource.RLIMIT_FSIZE >= 0
    count, message = run_python(WRITE_UNTIL_REFUSED, str(tmp_path)).split(" ", 1)
    assert "nothing acknowledged is lost" in message
    assert int(count) > 10
    store = SqliteReadings(tmp_path)
    rows = all_of(store, NOZZLE, START, START + DAY)
    assert bits(rows) == bits(steady(100_000).take(slice(0, 100 * int(count))))
    store.close()


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (lambda path: path.write_bytes(b""), "is empty.*restore"),
        (lambda path: path.write_bytes(b"time,value\n1,2\n" * 999), "no SQLite file.*move it away"),
        (lambda path: path.write_bytes(path.read_bytes()[:50]), "cut off.*restore"),
        (lambda path: path.write_bytes(path.read_bytes()[:4096]), "cut off.*restore"),
        (lambda path: path.write_bytes(path.read_bytes()[:-4096]), "cut off.*restore"),
        (lambda path: path.write_bytes(path.read_bytes()[:-1]), "cut off.*restore"),
    ],
    ids=["empty", "text", "header cut", "one page", "a page short", "a byte short"],
)
@pytest.mark.parametrize("read_only", [False, True])
def test_a_spoilt_file_is_refused_and_left_alone(
    tmp_path: Path, spoil: Callable[[Path], int], message: str, read_only: bool
) -> None:
    filled(tmp_path).close()
    path = tmp_path / FILE_NAME
    spoil(path)
    before = path.read_bytes()
    with pytest.raises(StoreError, match=message):
        SqliteReadings(tmp_path, read_only=read_only)
    assert path.read_bytes() == before


def test_a_foreign_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    connection = apsw.Connection(str(tmp_path / FILE_NAME))
    connection.execute("CREATE TABLE person (name TEXT)")
    connection.close()
    before = (tmp_path / FILE_NAME).read_bytes()
    for read_only in (False, True):
        with pytest.raises(StoreError, match=r"no readings file of ours.*move it away"):
            SqliteReadings(tmp_path, read_only=read_only)
    assert (tmp_path / FILE_NAME).read_bytes() == before


def test_a_file_of_a_newer_version_is_refused_and_left_alone(tmp_path: Path) -> None:
    filled(tmp_path).close()
    connection = apsw.Connection(str(tmp_path / FILE_NAME))
    connection.pragma("user_version", schema.VERSION + 1)
    connection.close()
    before = (tmp_path / FILE_NAME).read_bytes()
    for read_only in (False, True):
        with pytest.raises(StoreError, match=r"newer Steadybead.*update Steadybead"):
            SqliteReadings(tmp_path, read_only=read_only)
    assert (tmp_path / FILE_NAME).read_bytes() == before


def test_a_file_of_the_first_version_is_upgraded_with_all_it_holds(tmp_path: Path) -> None:
    store = SqliteReadings(tmp_path / "new")
    store.append(Batch(START, {NOZZLE: steady(2_000)}))
    store.close()
    old = first_version(tmp_path / "old", tmp_path / "new" / FILE_NAME)
    with pytest.raises(StoreError, match=r"older form.*start the collector"):
        SqliteReadings(tmp_path / "old", read_only=True)
    store = SqliteReadings(tmp_path / "old")
    assert bits(all_of(store, NOZZLE, START, START + DAY)) == bits(steady(2_000))
    store.seal(START + DAY)
    assert bits(all_of(store, NOZZLE, START, START + DAY)) == bits(steady(2_000))
    store.close()
    connection = apsw.Connection(str(old))
    assert connection.pragma("user_version") == schema.VERSION
    connection.close()


def first_version(folder: Path, newer: Path) -> Path:
    """Write a file of the first version with the journal of a newer one."""
    folder.mkdir()
    connection = apsw.Connection(str(folder / FILE_NAME))
    connection.execute(schema._STEPS[0])
    connection.execute("ATTACH ? AS newer", (str(newer),))
    connection.execute("INSERT INTO channel SELECT * FROM newer.channel")
    connection.execute("INSERT INTO journal SELECT * FROM newer.journal")
    connection.execute("DETACH newer")
    connection.pragma("application_id", schema.APPLICATION_ID)
    connection.pragma("user_version", 1)
    connection.close()
    return folder / FILE_NAME


def test_a_wal_without_its_file_is_not_mixed_into_a_new_one(tmp_path: Path) -> None:
    filled(tmp_path).close()
    (tmp_path / f"{FILE_NAME}-wal").write_bytes(b"left over")
    (tmp_path / FILE_NAME).unlink()
    with pytest.raises(StoreError, match=r"put that file back.*-wal file away"):
        SqliteReadings(tmp_path)
    assert not (tmp_path / FILE_NAME).exists()


def test_reading_what_was_never_written_says_so(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"there is no .*start the collector"):
        SqliteReadings(tmp_path, read_only=True)


OPEN = """
import os, sys, tempfile
from pathlib import Path
from store_samples import NOZZLE, START, all_of, steady
from steadybead_collector.stores import SqliteReadings
from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Batch
# Load all code first: the other user may not be let into the folder where it lies.
with tempfile.TemporaryDirectory() as other:
    store = SqliteReadings(Path(other))
    store.append(Batch(START, {NOZZLE: steady(100)}))
    store.seal(START + 10**12)
    store.close()
    warm = SqliteReadings(Path(other), read_only=True)
    assert all_of(warm, NOZZLE, START, START + 10**12)
    warm.close()
os.setgid(65534)
os.setuid(65534)
try:
    store = SqliteReadings(Path(sys.argv[1]), read_only=sys.argv[2] == "read")
    print(len(all_of(store, NOZZLE, START, START + 10**12)))
except StoreError as error:
    print(error)
"""


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can act as another user")
def test_a_read_only_folder_can_be_read_but_not_written() -> None:
    folder = Path("/tmp") / f"steadybead-{os.getpid()}"  # noqa: S108 — another user must get in
    try:
        filled(folder).close()
        (folder / f"{FILE_NAME}.lock").unlink(missing_ok=True)
        folder.chmod(0o555)
        (folder / FILE_NAME).chmod(0o444)
        assert run_python(OPEN, str(folder), "read") == "20000\n"
        told = run_python(OPEN, str(folder), "write")
        assert "permission" in told
        (folder / FILE_NAME).chmod(0o000)
        assert "permission" in run_python(OPEN, str(folder), "read")
        folder.chmod(0o777)
        (folder / FILE_NAME).chmod(0o444)
        told = run_python(OPEN, str(folder), "write")
        assert "read-only" in told
        assert "writable" in told
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def test_a_damaged_chunk_is_told_when_it_is_read(tmp_path: Path) -> None:
    store = filled(tmp_path)
    with store._database.writing() as connection:
        connection.execute("UPDATE chunk SET data = substr(data, 1, 40) WHERE id = 1")
    with pytest.raises(StoreError, match=r"damaged.*backup"):
        all_of(store, NOZZLE, START, START + DAY)
    store.close()


def test_a_backup_that_was_changed_is_refused(tmp_path: Path) -> None:
    store = filled(tmp_path / "live")
    target = tmp_path / "copy.sqlite"
    backup(tmp_path / "live", target)
    store.close()
    assert check(target) == 7
    data = bytearray(target.read_bytes())
    data[-100] ^= 1
    target.write_bytes(bytes(data))
    with pytest.raises(StoreError, match=r"not what was backed up"):
        restore(target, tmp_path / "new")
    assert not (tmp_path / "new" / FILE_NAME).exists()
    with pytest.raises(StoreError, match=r"there already"):
        restore(target, tmp_path / "live")


def test_a_reading_that_was_changed_is_found_by_its_leaf(tmp_path: Path) -> None:
    store = filled(tmp_path)
    with store._database.writing() as connection:
        connection.execute(
            "UPDATE chunk SET data = (SELECT data FROM chunk WHERE id = 2) WHERE id = 1"
        )
    store.close()
    with pytest.raises(StoreError, match=r"not those that were sealed"):
        check(tmp_path / FILE_NAME)


def test_leaves_of_what_was_forgotten_stay(tmp_path: Path) -> None:
    store = filled(tmp_path)
    before = store.leaves(START, START + DAY)
    assert store.retain(START + 2 * WINDOW, []) > 0
    after = store.leaves(START, START + DAY)
    assert [(leaf.start, leaf.sha256) for leaf in after] == [
        (leaf.start, leaf.sha256) for leaf in before
    ]
    assert [leaf.kept for leaf in after] == [False, False, True, True, True, True, True]
    store.close()


def test_late_readings_become_a_supplement_and_leave_the_first_leaf_alone(tmp_path: Path) -> None:
    store = filled(tmp_path)
    first = store.leaves(START, START + WINDOW)
    store.append(batch({NOZZLE: [reading(START + 1, 5.0)]}))
    store.seal(START + DAY)
    leaves = store.leaves(START, START + WINDOW)
    assert leaves[0] == first[0]
    assert [(leaf.part, leaf.count) for leaf in leaves[1:]] == [(1, 1)]
    assert 5.0 in all_of(store, NOZZLE, START, START + WINDOW).value
    store.close()


def test_a_reader_learns_of_channels_that_came_after_it(tmp_path: Path) -> None:
    store = filled(tmp_path)
    reader = SqliteReadings(tmp_path, read_only=True)
    store.append(batch({OTHER: [reading(START, 1.0)]}))
    assert set(reader.channels()) == {NOZZLE, OTHER}
    reader.close()
    store.close()


def test_a_stranger_reads_units_beside_the_names(tmp_path: Path) -> None:
    channel = Channel(NOZZLE, Quantity.NOZZLE_TEMPERATURE, "mV")
    plant = Plant("north", "Europe/Lisbon", (Station(NOZZLE.station_id, (channel,)),))
    filled(tmp_path).close()
    store = SqliteReadings(tmp_path, plant)
    store.append(batch({OTHER: [reading(START, 1.0)]}))
    with store._database.reading() as connection:
        rows = connection.execute("SELECT name, quantity, unit FROM channel ORDER BY id").fetchall()
    store.close()
    assert rows == [(str(NOZZLE), "nozzle_temperature", "Cel"), (str(OTHER), "", "")]


def test_the_journal_is_trimmed_once_merged_and_released(tmp_path: Path) -> None:
    store = filled(tmp_path)
    settle(store)
    assert len(list(store.since(0))) == 1
    store.release(10**9)
    settle(store)
    with store._database.reading() as connection:
        assert connection.execute("SELECT count(*) FROM journal").get == 0
        position = journal.newest_position(connection)
    store.close()
    store = SqliteReadings(tmp_path)
    result = store.append(batch({OTHER: [reading(START, 1.0)]}))
    assert result.position == position + 1
    store.close()
