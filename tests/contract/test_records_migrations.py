"""Tables of every earlier version come forward with all that is in them, on both databases."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

import records_postgres
from records_samples import T0, start
from steadybead_collector.records.database import Database, connect
from steadybead_collector.records.migrate import MIGRATIONS
from steadybead_collector.records.procedure_file import read_procedures
from steadybead_collector.records.rows import procedure_content
from steadybead_collector.records.schema import metadata
from steadybead_collector.records.store import open_records


def _config() -> Config:
    config = Config(attributes={})
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "newline")
    return config


EARLIER = [s.revision for s in ScriptDirectory.from_config(_config()).walk_revisions()][:0:-1]


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


def _at_version(database: Database, revision: str) -> None:
    config = _config()
    with database.write() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, revision)


_SAMPLES: tuple[tuple[type[Any], Any], ...] = (
    (sa.LargeBinary, b"\x00" * 32),
    (sa.Boolean, True),
    (sa.Integer, 1),
    (sa.Float, 0.1 + 0.2),
)


def _sample(column: sa.Column[Any], table: str) -> Any:
    """Make a value that fits the column's type; a procedure must be one that can be read."""
    if isinstance(column.type, sa.JSON):
        return procedure_content(read_procedures()[0]) if table == "procedure" else {"of": table}
    for kind, value in _SAMPLES:
        if isinstance(column.type, kind):
            return value
    return table[: getattr(column.type, "length", None) or len(table)]


def _fill(database: Database) -> dict[str, dict[str, Any]]:
    """Put one row into every table there is, parents first; give the rows."""
    rows: dict[str, dict[str, Any]] = {}
    with database.write() as connection:
        found = sa.MetaData()
        found.reflect(connection)
        for table in found.sorted_tables:
            if table.name != "alembic_version":
                row = {column.name: _sample(column, table.name) for column in table.columns}
                for key in table.foreign_keys:
                    row[key.parent.name] = rows[key.column.table.name][key.column.name]
                connection.execute(sa.insert(table).values(row))
                rows[table.name] = row
    return rows


def _read(database: Database, names: list[str]) -> dict[str, dict[str, Any]]:
    with database.read() as connection:
        found = sa.MetaData()
        found.reflect(connection)
        return {
            name: dict(connection.execute(sa.select(found.tables[name])).mappings().first() or {})
            for name in names
        }


@pytest.mark.parametrize("revision", EARLIER)
def test_rows_of_an_earlier_version_come_forward(url: str, tmp_path: Path, revision: str) -> None:
    database = connect(url, tmp_path)
    _at_version(database, revision)
    rows = _fill(database)
    before = _read(database, list(rows))
    database.close()

    records = open_records(url, tmp_path, lambda: T0)
    assert records.add_weld_event(start("after-the-move"))
    records.close()

    database = connect(url, tmp_path)
    after = _read(database, list(rows))
    for name, row in before.items():
        assert len(row) > 0, name
        same = {key: after[name].get(key) for key in row if key in after[name]}
        assert same == {key: row[key] for key in same}, name
        assert len(same) >= len(row) - 1, f"{name} lost columns"
    with database.read() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
    database.close()


def test_there_is_an_earlier_version_to_come_from() -> None:
    assert EARLIER[0] == "0001"
    assert len(EARLIER) >= 2
