"""What holds for all tests."""

import os
import sqlite3
from collections.abc import Generator, Iterator
from pathlib import Path

import argon2
import pytest
from hypothesis import settings

from steadybead_collector.records import accounts, store
from steadybead_collector.records.database import FILE_NAME, Database, connect
from steadybead_collector.records.migrate import upgrade

# No test fails on a time. In CI the examples are the same each time; elsewhere they are new ones.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "here")
# Files that take a minute and more, the longest first: one that begins last leaves the other
# processor idle at the end (`--no-loadscope-reorder` keeps this order). Pages come behind all: a
# browser drops its connections while containers change the machine's networks.
_FIRST = (
    "test_containers.py",
    "test_score_short.py",
    "test_ingest_kill.py",
    "test_api_openapi.py",
    "test_diagnosis_shop_day.py",
    "test_bench_short.py",
    "readings_influx_contract_test.py",
    "test_command_run.py",
    "test_diagnosis_batches.py",
    "test_alarms_notices.py",
    "test_ingest_working_day.py",
    "test_quiet_month_short.py",
    "test_scale_out.py",
    "test_simulator_month.py",
    "test_scale_out_findings.py",
)
_FIRST_PAGES = (
    "test_pages_manners.py",
    "test_pages_trust.py",
    "test_welds_pages.py",
    "test_pages_weld.py",
    "test_pages_outbox.py",
    "test_pages_maintenance.py",
    "test_pages_german.py",
    "test_pages_floor.py",
)
_FOR_WANT = ("not installed", "no user postgres", "no Chromium")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest, end with the pages; else keep the order."""

    def place(item: pytest.Item) -> tuple[bool, int]:
        is_page = item.path.parent.name == "browser"
        names = _FIRST_PAGES if is_page else _FIRST
        name = item.path.name
        return is_page, names.index(name) if name in names else len(names)

    items.sort(key=place)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """In CI nothing is skipped for want of a server: such a skip fails."""
    report = yield
    if not report.skipped or os.environ.get("CI") != "true" or hasattr(report, "wasxfail"):
        return report
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    if any(words in reason for words in _FOR_WANT):
        report.outcome = "failed"
        report.longrepr = f"in CI this may not be skipped: {reason}"
    return report


@pytest.fixture(scope="session", autouse=True)
def products_hasher() -> Iterator[argon2.PasswordHasher]:
    """Give the product's own hasher of passwords; within this process a cheap one is in force.

    Processes that tests start hash as the product does.
    """
    own = accounts._HASHER
    with pytest.MonkeyPatch.context() as patched:
        cheap = argon2.PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
        patched.setattr(accounts, "_HASHER", cheap)
        yield own


@pytest.fixture(scope="session", autouse=True)
def _migrated_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Bring empty tables up to date once; every other empty records.db begins as a copy.

    Tests of the migrations themselves call `upgrade` and are not touched by this.
    """
    folder = tmp_path_factory.mktemp("migrated")

    def copied(database: Database) -> None:
        with database.read() as connection:
            if connection.dialect.name != "sqlite":
                upgrade(database)
                return
            name = connection.exec_driver_sql("PRAGMA database_list").one()[2]
            empty = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar() == 0
        if empty:
            _copy(_template(folder), Path(name))
        upgrade(database)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(store, "upgrade", copied)
        yield


def _template(folder: Path) -> Path:
    """Give an empty records.db of the newest version, made at the first call."""
    path = folder / FILE_NAME
    if not path.exists():
        database = connect("sqlite", folder)
        upgrade(database)
        database.close()
    return path


def _copy(source: Path, target: Path) -> None:
    with sqlite3.connect(source) as read, sqlite3.connect(target) as write:
        read.backup(write)
    read.close()
    write.close()
