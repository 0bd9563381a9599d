"""The audit trail is only added to, and shows what was done to it behind its back."""

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

import records_postgres
from records_samples import T0
from steadybead_collector.moving.records import copy_records
from steadybead_collector.records.chain import Head
from steadybead_collector.records.database import Database, connect
from steadybead_collector.records.migrate import MIGRATIONS, upgrade
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.people import Actor, Role

BOSS = Actor("Zoë", Role.ADMINISTRATOR)


@pytest.fixture(scope="module")
def server_url() -> Iterator[str]:
    if (reason := records_postgres.why_not()) is not None:
        pytest.skip(reason)
    with records_postgres.server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    if request.param == "sqlite":
        return "sqlite"
    return records_postgres.emptied(request.getfixturevalue("server_url"))


@pytest.fixture
def records(url: str, tmp_path: Path) -> Iterator[Records]:
    opened = open_records(url, tmp_path, lambda: T0)
    for role in Role:
        opened.access.create_token(Actor(f"the {role}", role), BOSS, T0, "test")
    yield opened
    opened.close()


def tampered(url: str, folder: Path, *statements: str) -> None:
    """Do what somebody with the database's own rights could do."""
    database = connect(url, folder)
    try:
        with database.write() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement)
    finally:
        database.close()


def unlocked(url: str) -> list[str]:
    if url == "sqlite":
        names = ("audit_no_update", "audit_no_delete", "audit_no_replace")
        return [f"DROP TRIGGER {name}" for name in names]
    return ["DROP TRIGGER audit_is_kept ON audit"]


def rows_of(database: Database) -> list[dict[str, Any]]:
    with database.read() as connection:
        found = connection.execute(sa.text("SELECT * FROM audit ORDER BY id")).mappings()
        return [dict(row) for row in found]


def test_a_trail_that_nobody_touched_is_whole(records: Records) -> None:
    walked = records.audit.walk()
    assert (walked.fault, walked.earlier, walked.chained) == ("", None, None)
    assert walked.head is not None
    assert walked.head.entry == len(records.audit.page(100).items) == len(Role)
    assert records.audit.head() == walked.head


def test_a_stranger_can_follow_the_chain_from_its_description(
    records: Records, url: str, tmp_path: Path
) -> None:
    previous = None
    database = connect(url, tmp_path)
    for row in rows_of(database):
        members = {k: row[k] for k in ("id", "time", "actor", "via", "what", "subject")}
        detail = row["detail"]
        members["detail"] = json.loads(detail) if isinstance(detail, str) else detail
        members["previous"] = previous
        text = json.dumps(members, sort_keys=True, separators=(",", ":"))
        previous = hashlib.sha256(text.encode("ascii")).hexdigest()
        assert bytes(row["sha256"]).hex() == previous
    database.close()
    head = records.audit.head()
    assert head is not None
    assert head.sha256 == previous


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE audit SET actor = 'somebody' WHERE id = 2",
        "DELETE FROM audit WHERE id = 2",
        "INSERT INTO audit SELECT * FROM audit WHERE id = 2",
    ],
)
def test_the_database_refuses_to_change_or_drop_entries(
    records: Records, url: str, tmp_path: Path, statement: str
) -> None:
    with pytest.raises(Exception, match=r"only added to|pk_audit"):
        tampered(url, tmp_path, statement)
    assert records.audit.walk().fault == ""


def test_sqlite_refuses_to_replace_and_postgresql_to_truncate(
    records: Records, url: str, tmp_path: Path
) -> None:
    replace = "REPLACE INTO audit SELECT * FROM audit WHERE id = 2"
    with pytest.raises(Exception, match="only added to"):
        tampered(url, tmp_path, replace if url == "sqlite" else "TRUNCATE audit")
    assert records.audit.walk().fault == ""


@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        ("UPDATE audit SET actor = 'somebody' WHERE id = 2", "entry 2 is not what was written"),
        ("UPDATE audit SET time = time + 1 WHERE id = 1", "entry 1 is not what was written"),
        ("DELETE FROM audit WHERE id = 2", "entry 3 does not follow entry 1"),
        ("DELETE FROM audit WHERE id = 1", "entry 2 does not follow the beginning"),
        ("UPDATE audit SET id = 900 WHERE id = 3", "entry 4 does not follow entry 2"),
    ],
)
def test_whoever_gets_round_that_is_found_at_the_first_entry(
    records: Records, url: str, tmp_path: Path, statement: str, fault: str
) -> None:
    tampered(url, tmp_path, *unlocked(url), statement)
    assert fault in records.audit.walk().fault


def test_entries_cut_off_at_the_end_are_found_by_a_head_that_was_kept(
    records: Records, url: str, tmp_path: Path
) -> None:
    head = records.audit.head()
    assert head is not None
    assert records.audit.walk([head]).heads == {head}
    assert head.entry == 5
    tampered(url, tmp_path, *unlocked(url), "DELETE FROM audit WHERE id = 5")
    records.access.create_token(BOSS, BOSS, T0, "test")
    walked = records.audit.walk([head, Head(1, "00" * 32)])
    assert (walked.fault, walked.heads) == ("", frozenset())


def test_entries_of_an_earlier_version_are_chained_and_marked(url: str, tmp_path: Path) -> None:
    config = Config(attributes={})
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "newline")
    database = connect(url, tmp_path)
    with database.write() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0008")
        for number in (3, 8, 9):
            told = {"t": number, "d": json.dumps({"role": "welder", "n": 0.1 + 0.2})}
            connection.execute(
                sa.text(
                    "INSERT INTO audit (id, time, actor, via, what, subject, detail)"
                    " VALUES (:t, :t, 'Ana', 'http', 'logged in', 'Ana', :d)"
                ),
                told,
            )
    database.close()
    records = open_records(url, tmp_path, lambda: T0)
    walked = records.audit.walk()
    assert (walked.fault, walked.earlier) == ("", 9)
    assert walked.chained is not None
    assert [e.what for e in records.audit.page(9).items] == ["trail chained", *["logged in"] * 3]
    tampered(url, tmp_path, *unlocked(url), "UPDATE audit SET actor = 'Eve' WHERE id = 8")
    assert "entry 8" in records.audit.walk().fault
    records.close()


def test_a_move_to_another_database_keeps_the_chain(records: Records, tmp_path: Path) -> None:
    other = tmp_path / "other"
    target = connect("sqlite", other)
    upgrade(target)
    copy_records(records._database, target, lambda position: position)
    target.close()
    moved = open_records("sqlite", other, lambda: T0)
    head = records.audit.head()
    assert head is not None
    walked = moved.audit.walk([head])
    assert (walked.fault, walked.head) == ("", head)
    assert walked.heads == {head}
    moved.access.create_token(BOSS, BOSS, T0, "test")
    assert moved.audit.walk([head]).heads == {head}
    moved.close()
