"""Bringing the tables up to date when the store is opened."""

from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records.database import Database
from steadybead_domain.ports import StoreError

MIGRATIONS = Path(__file__).with_name("migrations")
_CURRENT = sa.table("alembic_version", sa.column("version_num"))


def upgrade(database: Database) -> None:
    """Run the missing migrations in one transaction; refuse tables of a newer version."""
    with database.read() as connection:
        if _revision(connection) == head():
            return
    _migrate(database)


def head() -> str:
    """Give the newest version that this program knows, by the names of its scripts."""
    return max(path.name[1:5] for path in (MIGRATIONS / "versions").glob("v*.py"))


def _migrate(database: Database) -> None:
    from alembic import command  # noqa: PLC0415  slow to load, and seldom needed
    from alembic.config import Config  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    config = Config(attributes={})
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    scripts = ScriptDirectory.from_config(config)
    with database.write() as connection:
        current = _revision(connection)
        if current == scripts.get_current_head():
            return
        known = {script.revision for script in scripts.walk_revisions()}
        if current is not None and current not in known:
            raise StoreError(
                f"records store: its tables are of version {current}, newer than this program"
                f" knows ({scripts.get_current_head()}). Install the newer program again, or"
                " restore a backup made before the update."
            )
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def _revision(connection: Connection) -> str | None:
    if not sa.inspect(connection).has_table(_CURRENT.name):
        return None
    return connection.execute(sa.select(_CURRENT.c.version_num)).scalar_one_or_none()
