"""A writing process is killed at random moments; nothing acknowledged may be missing or double."""

import os
import random
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import store_writer
from steadybead_collector.stores import SqliteReadings, database
from steadybead_collector.stores.backup import backup, check, restore
from steadybead_collector.stores.database import FILE_NAME
from steadybead_domain.ports import StoreError
from store_samples import all_of, bits
from store_writer import CHANNELS, EACH, START, STEP, batch_of, columns_of

SCRIPT = str(Path(store_writer.__file__))


@contextmanager
def writing(folder: Path, first: int, count: int = 1_000_000) -> Iterator["subprocess.Popen[str]"]:
    path = os.pathsep.join(part for part in sys.path if part)
    process = subprocess.Popen(
        [sys.executable, SCRIPT, str(folder), str(first), str(count)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait(30)
        if process.stdout is not None:
            process.stdout.close()


def acknowledged(process: "subprocess.Popen[str]", until: int) -> int:
    """Read acknowledgements until batch `until`; give the last one read."""
    assert process.stdout is not None
    last = -1
    while last < until:
        line = process.stdout.readline()
        assert line, "the writing process ended by itself"
        last = int(line)
    return last


def the_rest(process: "subprocess.Popen[str]", last: int) -> int:
    """Read what was acknowledged before the end."""
    assert process.stdout is not None
    whole = [line for line in process.stdout.read().splitlines(keepends=True) if line[-1:] == "\n"]
    return max([last, *map(int, whole)])


def test_nothing_acknowledged_is_missing_or_double_after_kills(tmp_path: Path) -> None:
    draw = random.Random(5)  # noqa: S311
    first = 0
    for _ in range(4):
        with writing(tmp_path, first) as process:
            last = acknowledged(process, first + draw.randrange(5, 40))
            os.kill(process.pid, signal.SIGKILL)
            process.wait(30)
            last = the_rest(process, last)
        store = SqliteReadings(tmp_path)
        found = len(all_of(store, CHANNELS[0], START, START + 10**13))
        assert found % EACH == 0
        assert last + 1 <= found // EACH <= last + 2, "at most the batch in flight is there besides"
        for i, name in enumerate(CHANNELS):
            rows = all_of(store, name, START, START + 10**13)
            assert bits(rows) == bits(columns_of(i, 0, found))
        assert store.append(batch_of(last)).duplicates == EACH * len(CHANNELS)
        store.close()
        first = found // EACH
    assert check(tmp_path / FILE_NAME) > 0


def test_another_process_reads_while_one_writes(tmp_path: Path) -> None:
    with writing(tmp_path, 0) as process:
        acknowledged(process, 3)
        reader = SqliteReadings(tmp_path, read_only=True)
        assert set(reader.channels()) == set(CHANNELS)
        seen = 0
        for round_number in range(20):
            last = acknowledged(process, 4 + 4 * round_number)
            rows = all_of(reader, CHANNELS[1], START, START + 10**13)
            assert len(rows) >= (last + 1) * EACH, "what was acknowledged can be read at once"
            assert len(rows) >= seen
            assert bits(rows) == bits(columns_of(1, 0, len(rows)))
            newest = reader.latest(CHANNELS)[CHANNELS[1]]
            assert newest.time >= rows.time[-1]
            buckets = reader.buckets(CHANNELS[1], START, START + len(rows) * STEP, 7)
            assert int(buckets.n.sum()) == len(rows)
            seen = len(rows)
        with pytest.raises(StoreError, match=r"read-only|reading only"):
            reader.append(batch_of(0))
        assert not reader.maintain()
        reader.close()


def test_a_second_writer_is_refused_and_told_what_to_do(tmp_path: Path) -> None:
    with writing(tmp_path, 0) as process:
        acknowledged(process, 0)
        with pytest.raises(StoreError, match=r"another process writes .*stop it first"):
            SqliteReadings(tmp_path)
        acknowledged(process, 5)


def test_a_backup_taken_while_writing_is_whole(tmp_path: Path) -> None:
    target = tmp_path / "backups" / "monday.sqlite"
    with writing(tmp_path / "live", 0) as process:
        before = acknowledged(process, 40)
        digest = backup(tmp_path / "live", target)
    assert (target.parent / "monday.sqlite.sha256").read_text() == f"{digest}  monday.sqlite\n"
    assert check(target) > 0
    assert restore(target, tmp_path / "new") > 0
    store = SqliteReadings(tmp_path / "new")
    rows = all_of(store, CHANNELS[2], START, START + 10**13)
    assert len(rows) >= (before + 1) * EACH
    assert bits(rows) == bits(columns_of(2, 0, len(rows)))
    assert store.append(batch_of(len(rows) // EACH)).duplicates == 0
    store.close()


def test_the_wal_stays_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "_CHECKPOINT_PAGES", 100)
    store = SqliteReadings(tmp_path)
    for number in range(200):
        result = store.append(batch_of(number))
        store.release(result.position)
        store.maintain()
        if number % 20 == 0:
            all_of(store, CHANNELS[0], START, START + 10**13)
    assert (tmp_path / f"{FILE_NAME}-wal").stat().st_size < 250 * 4_120
    assert times_begun_anew(tmp_path) > 3
    store.close()


def test_the_wal_stays_bounded_though_nobody_keeps_house(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "_LAST_RESORT_PAGES", 100)
    store = SqliteReadings(tmp_path)
    for number in range(250):
        store.append(batch_of(number))
    assert (tmp_path / f"{FILE_NAME}-wal").stat().st_size < 150 * 4_120
    assert times_begun_anew(tmp_path) > 3
    store.close()


def times_begun_anew(folder: Path) -> int:
    """Give the checkpoint sequence number of the WAL's header (SQLite, file format, 4.1)."""
    with (folder / f"{FILE_NAME}-wal").open("rb") as stream:
        return int.from_bytes(stream.read(16)[12:], "big")
