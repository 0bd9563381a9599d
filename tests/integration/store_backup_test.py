"""A whole shop is copied while it runs, and comes back whole or not at all."""

import hashlib
import json
import multiprocessing
import shutil
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest

from brokers_ingest import publisher, until
from records_samples import start, stop
from steadybead_api.command import main
from steadybead_collector.backups import SUMS, back_up, restore
from steadybead_collector.config.settings import StoreSettings
from steadybead_collector.evidence.keys import signing_key
from steadybead_collector.records.store import open_records
from steadybead_collector.records.weld_index import WeldSearch
from steadybead_collector.stores import SqliteReadings
from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Batch, Columns
from store_samples import NOZZLE, START, all_of, bits, steady
from whole_process import Server, call, server, write_plant

FAR = START + 10**13


def part_of(number: int) -> Columns:
    return steady(500, START + number * 500 * 200_000, seed=number)


@contextmanager
def busy_shop(data: Path) -> Iterator[Callable[[], int]]:
    """Keep a shop of two hours, with a weld, and go on writing; gives what is acknowledged."""
    store = SqliteReadings(data)
    records = open_records("sqlite", data)
    for number in range(72):
        store.append(Batch(START, {NOZZLE: part_of(number)}))
    store.seal(FAR)
    records.add_weld_event(start("w-1"))
    records.add_weld_event(stop("w-1", 60.0))
    signing_key(data)
    ending, done = threading.Event(), [72]

    def write() -> None:
        while not ending.is_set():
            store.append(Batch(START, {NOZZLE: part_of(done[0])}))
            done[0] += 1
            records.add_weld_event(start(f"w-{done[0]}", 100.0 * done[0]))
            records.add_weld_event(stop(f"w-{done[0]}", 100.0 * done[0] + 50.0))

    thread = threading.Thread(target=write)
    thread.start()
    try:
        yield lambda: done[0]
    finally:
        ending.set()
        thread.join()
        store.close()
        records.close()


def another_process() -> ProcessPoolExecutor:
    """Give one: file locks are a process's own, here two SQLite libraries would share them."""
    return ProcessPoolExecutor(1, multiprocessing.get_context("spawn"))


@pytest.fixture(scope="module")
def backed_up(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    """A backup taken while the shop went on, and how many parts it holds at least."""
    folder = tmp_path_factory.mktemp("shop")
    target = folder / "copies" / "monday"
    with busy_shop(folder / "data") as acknowledged, another_process() as other:
        until(lambda: acknowledged() > 75)
        least = acknowledged()
        other.submit(back_up, StoreSettings(), "# plant\n", folder / "data", target).result()
    return target, least


def test_a_shop_that_goes_on_comes_back_whole(backed_up: tuple[Path, int], tmp_path: Path) -> None:
    source, least = backed_up
    copied = restore(source, tmp_path / "data")
    assert copied.chunks >= 12
    store = SqliteReadings(tmp_path / "data")
    rows = all_of(store, NOZZLE, START, FAR)
    assert len(rows) % 500 == 0
    assert len(rows) >= least * 500
    expected = [part_of(number) for number in range(len(rows) // 500)]
    assert bits(rows) == bits(Columns.concat(expected))
    store.append(Batch(START, {NOZZLE: part_of(len(expected))}))
    store.close()
    records = open_records("sqlite", tmp_path / "data")
    welds = {weld.id for weld in records.welds.page(WeldSearch(), 500, None).items}
    assert {"w-1", *(f"w-{n}" for n in range(73, least))} <= welds
    records.close()
    before = source / "keys" / "evidence-key.pem"
    after = tmp_path / "data" / "keys" / "evidence-key.pem"
    assert after.read_bytes() == before.read_bytes()
    assert after.stat().st_mode & 0o777 == 0o600
    assert (tmp_path / "data" / "records.db").stat().st_mode & 0o077 == 0
    assert not (tmp_path / "data" / "plant.toml").exists()


def test_a_backup_is_listed_as_sha256sum_reads_it(backed_up: tuple[Path, int]) -> None:
    source, _ = backed_up
    lines = (source / SUMS).read_text().splitlines()
    listed = {name: digest for digest, name in (line.split("  ") for line in lines)}
    found = {path.relative_to(source).as_posix() for path in source.rglob("*") if path.is_file()}
    assert set(listed) == found - {SUMS}
    assert {"readings.sqlite", "records.db", "plant.toml", "keys/evidence-key.pem"} == set(
        listed
    ) - {"keys/evidence-key.pub.pem"}
    for name, digest in listed.items():
        assert hashlib.sha256((source / name).read_bytes()).hexdigest() == digest
    assert source.stat().st_mode & 0o077 == 0


def copy_of(source: Path, folder: Path) -> Path:
    for path in source.rglob("*"):
        if path.is_file():
            to = folder / path.relative_to(source)
            to.parent.mkdir(parents=True, exist_ok=True)
            to.write_bytes(path.read_bytes())
    return folder


def flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))


def list_again(folder: Path) -> None:
    """Give the list the hashes that the files have now."""
    names = [line.split("  ")[1] for line in (folder / SUMS).read_text().splitlines()]
    sums = [hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in names]
    lines = (f"{digest}  {name}\n" for digest, name in zip(sums, names, strict=True))
    (folder / SUMS).write_text("".join(lines))


def cut_records(folder: Path) -> None:
    path = folder / "records.db"
    path.write_bytes(path.read_bytes()[:-4096])
    list_again(folder)


def change_a_reading(folder: Path) -> None:
    (folder / "data").mkdir()
    (folder / "readings.sqlite").rename(folder / "data" / "readings.sqlite")
    store = SqliteReadings(folder / "data")
    with store._database.writing() as connection:
        connection.execute(
            "UPDATE chunk SET data = (SELECT data FROM chunk WHERE id = 2) WHERE id = 1"
        )
    store.close()
    (folder / "data" / "readings.sqlite").rename(folder / "readings.sqlite")
    list_again(folder)


DAMAGES: dict[str, tuple[Callable[[Path], object], str]] = {
    "a bit of the readings": (lambda f: flip(f / "readings.sqlite"), "not what was backed up"),
    "a bit of the records": (lambda f: flip(f / "records.db"), "not what was backed up"),
    "a bit of the key": (
        lambda f: flip(f / "keys" / "evidence-key.pem"),
        "not what was backed up",
    ),
    "a file is gone": (lambda f: (f / "records.db").unlink(), "records.db is missing"),
    "the list is gone": (lambda f: (f / SUMS).unlink(), "no whole backup"),
    "the list is garbage": (lambda f: (f / SUMS).write_bytes(b"\xff\x00\n"), "line 1: damaged"),
    "the list leads out": (
        lambda f: (f / SUMS).write_text("0" * 64 + "  ../outside\n"),
        "line 1: damaged",
    ),
    "the list is empty": (lambda f: (f / SUMS).write_text(""), "is missing from the list"),
    "records cut, list made anew": (cut_records, "damaged|malformed"),
    "a sealed reading changed, list made anew": (change_a_reading, "not those that were sealed"),
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_backup_is_refused_and_leaves_nothing(
    backed_up: tuple[Path, int], tmp_path: Path, damage: str, capsys: pytest.CaptureFixture[str]
) -> None:
    source = copy_of(backed_up[0], tmp_path / "copy")
    harm, told = DAMAGES[damage]
    harm(source)
    with pytest.raises(StoreError, match=told):
        restore(source, tmp_path / "data")
    assert not (tmp_path / "data").exists()
    assert main(["restore", str(source), "--data", str(tmp_path / "data")]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("steadybead: ")
    assert said.err.count("\n") == 1


def test_a_folder_that_holds_something_is_left_alone(
    backed_up: tuple[Path, int], tmp_path: Path
) -> None:
    data = tmp_path / "data"
    data.mkdir()
    (data / "notes.txt").write_text("mine")
    with pytest.raises(StoreError, match=r"not an empty folder \(notes.txt and so on\)"):
        restore(backed_up[0], data)
    assert [path.name for path in data.iterdir()] == ["notes.txt"]
    with pytest.raises(StoreError, match="not an empty folder"):
        restore(backed_up[0], data / "notes.txt")
    (data / "notes.txt").unlink()
    assert restore(backed_up[0], data).files >= 5


def test_what_cannot_be_backed_up_is_told(tmp_path: Path) -> None:
    data, target = tmp_path / "data", tmp_path / "copy"
    with pytest.raises(StoreError, match=r"no .*readings.sqlite: check --data"):
        back_up(StoreSettings(), "", data, target)
    SqliteReadings(data).close()
    open_records("sqlite", data).close()
    server_store = StoreSettings(records="postgresql://shop@host/shop")
    with pytest.raises(StoreError, match=r"records are on a server.*steadybead move"):
        back_up(server_store, "", data, target)
    with pytest.raises(StoreError, match="lies in the data folder"):
        back_up(StoreSettings(), "", data, data / "copy")
    target.mkdir()
    (target / "monday").write_text("old")
    with pytest.raises(StoreError, match="is there already"):
        back_up(StoreSettings(), "", data, target)
    (data / "readings.sqlite").write_bytes(b"no database")
    with pytest.raises(StoreError, match="is no SQLite file"):
        back_up(StoreSettings(), "", data, tmp_path / "other")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["copy", "data"]


def test_records_whose_writer_was_cut_off_are_told_with_the_remedy(tmp_path: Path) -> None:
    whole, data = tmp_path / "whole", tmp_path / "data"
    SqliteReadings(data).close()
    open_records("sqlite", whole).close()
    writer = sqlite3.connect(whole / "records.db", isolation_level=None)
    writer.execute("PRAGMA cache_size = 1")  # so that the file is written before the end
    writer.execute("BEGIN")
    writer.execute("CREATE TABLE cut_off (x)")
    writer.executemany("INSERT INTO cut_off VALUES (?)", [("x" * 1000,)] * 200)
    for name in ("records.db", "records.db-journal"):  # as a power cut leaves them
        shutil.copy(whole / name, data / name)
    writer.close()
    with pytest.raises(StoreError, match="start Steadybead on this folder once"):
        back_up(StoreSettings(), "", data, tmp_path / "copy")
    open_records("sqlite", data).close()
    assert back_up(StoreSettings(), "", data, tmp_path / "copy").files >= 3


def test_restore_asks_where_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["restore", str(tmp_path)]) == 2
    assert "give --data" in capsys.readouterr().err


def test_a_running_product_is_backed_up_and_restored(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plant = write_plant(tmp_path, None)
    base = round(time.time()) - 60
    with server("run", "--config", str(plant), "--port", "0") as running:
        url = next(word for word in running.line.split() if word.startswith("mqtt://"))
        with publisher(url) as client:
            for i in range(50):
                pack = [{"n": "air/filter", "u": "Pa", "bt": base + i, "v": 100.0 + i}]
                client.send("steadybead/v1/north/bay-1/senml", json.dumps(pack).encode())
            until(lambda: len(filter_drops(running)) == 50)
        done = call("backup", str(tmp_path / "copy"), "--config", str(plant))
        assert (done.returncode, done.stderr) == (0, "")
        assert running.ready()
    moved = tmp_path / "elsewhere" / "plant.toml"
    moved.parent.mkdir()
    moved.write_bytes((tmp_path / "copy" / "plant.toml").read_bytes())
    assert main(["restore", str(tmp_path / "copy"), "--config", str(moved)]) == 0
    said = capsys.readouterr()
    assert "all hashes hold" in said.out
    assert said.err == ""
    with server("run", "--config", str(moved), "--port", "0") as running:
        assert filter_drops(running) == [100.0 + i for i in range(50)]
        assert running.stop() == 0


def filter_drops(running: Server) -> list[float]:
    whole = {"start": "2020-01-01T00:00:00Z", "end": "2099-01-01T00:00:00Z"}
    asked = {"channel": "north/bay-1/air/filter", **whole}
    answer = running.client.get("api/v1/readings", params=asked)
    return [item["value"] for item in answer.json()["items"]]
