"""Several who write to one file of records: each waits, each has its turn, none waits for ever."""

import logging
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from api_shop import BAY_1, client_of, make_shop
from brokers_ingest import until
from records_samples import start
from steadybead_api.services import AccessPolicy
from steadybead_collector.records import database as records_database
from steadybead_collector.records.database import connect
from steadybead_collector.records.store import open_records
from steadybead_collector.records.turns import LateError, Turns
from steadybead_domain.people import Role
from steadybead_domain.ports import StoreError


@contextmanager
def held(folder: Path) -> Iterator[sqlite3.Connection]:
    """Hold the file as a foreign program would that writes and does not end."""
    connection = sqlite3.connect(
        folder / "records.db", isolation_level=None, check_same_thread=False
    )
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield connection
    finally:
        connection.close()


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> float:
    monkeypatch.setattr(records_database, "BUSY_S", 0.3)
    return 0.3


def in_thread(work: Callable[[], object]) -> threading.Thread:
    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return thread


def test_a_writer_waits_while_another_connection_writes(tmp_path: Path) -> None:
    records = open_records("sqlite", tmp_path)
    with held(tmp_path) as other:
        release = threading.Timer(2.0, other.execute, ["COMMIT"])
        release.start()
        began = time.monotonic()
        assert records.add_weld_event(start("w1"))
        waited = time.monotonic() - began
        release.join()
    assert waited > 1.5
    assert records.welds.get("w1") is not None
    records.close()


def test_who_came_first_writes_first(tmp_path: Path) -> None:
    open_records("sqlite", tmp_path).close()
    first, second = connect("sqlite", tmp_path), connect("sqlite", tmp_path)
    done: list[str] = []

    def write(name: str) -> None:
        database = first if name == "first" else second
        with database.write():
            done.append(name)

    for _ in range(5):
        with held(tmp_path) as other:
            waiting = [in_thread(lambda: write("first"))]
            until(lambda: _at_the_door(first._turns, tmp_path), 10)
            waiting.append(in_thread(lambda: write("second")))
            until(second._turns._inside.locked, 10)
            other.execute("COMMIT")
            for thread in waiting:
                thread.join(20)
    assert done == ["first", "second"] * 5
    first.close()
    second.close()


def _at_the_door(turns: Turns, folder: Path) -> bool:
    """Tell whether nobody else could stand there."""
    if not turns._inside.locked():
        return False
    look = Turns(folder / "records.db.lock", 0.0)
    try:
        with look.turn():
            return False
    except LateError:
        return True
    finally:
        look.close()


def test_file_held_for_too_long_is_said(tmp_path: Path, impatient: float) -> None:
    records = open_records("sqlite", tmp_path)
    with held(tmp_path):
        began = time.monotonic()
        with pytest.raises(StoreError, match=r"records\.db: database is locked\. Try again in a"):
            records.add_weld_event(start("w1"))
        assert time.monotonic() - began >= impatient
    assert records.add_weld_event(start("w1"))
    records.close()


@pytest.mark.usefixtures("impatient")
def test_threads_behind_a_long_writer_do_not_wait_for_ever(tmp_path: Path) -> None:
    open_records("sqlite", tmp_path).close()
    database = connect("sqlite", tmp_path)
    said: list[str] = []

    def write() -> None:
        try:
            with database.write():
                said.append("wrote")
        except StoreError as error:
            said.append(str(error))

    with database.write():
        waiting = [in_thread(write) for _ in range(6)]
        for thread in waiting:
            thread.join(20)
    assert len(said) == 6
    assert all("locked by other writers. Try again" in text for text in said)
    write()
    assert said[-1] == "wrote"
    database.close()


@pytest.mark.anyio
@pytest.mark.usefixtures("impatient")
async def test_api_asks_to_come_again_when_the_file_is_held(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, anyio_backend: str
) -> None:
    assert anyio_backend
    shop = make_shop(tmp_path)
    welder = shop.token(Role.WELDER)
    body = {"station": str(BAY_1), "gun": "a"}
    demo = shop.with_access(AccessPolicy("open", demo=True))
    async with client_of(shop.app) as client, client_of(demo) as visitor:
        with caplog.at_level(logging.WARNING), held(tmp_path):
            answers = [
                await client.post("/api/v1/welds", json=body, headers=welder),
                await visitor.get("/", headers={"Accept": "text/html"}),
            ]
        for answer in answers:
            assert answer.status_code == 503
            assert answer.headers["retry-after"] == "5"
            assert "Try again in a moment" in answer.json()["detail"]
        assert not any(record.exc_info for record in caplog.records)
        assert (await client.post("/api/v1/welds", json=body, headers=welder)).status_code == 201
        assert (await visitor.get("/", headers={"Accept": "text/html"})).status_code == 200
    shop.close()


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"
