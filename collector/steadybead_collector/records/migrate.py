"""Bringing the tables up to date when the store is opened."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.engine import Connection

from steadybead_collector.records.database import Database
from steadybead_domain.ports import StoreError

MIGRATIONS = Path(__file__).with_name("migrations")


def upgrade(database: Database) -> None:
    """Run the missing migrations in one transaction; refuse tables of a newer version."""
    config = Config(attributes={})
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "newline")
    scripts = ScriptDirectory.from_config(config)
    with database.read() as connection:
        if _revision(connection) == scripts.get_current_head():
            return
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
    return MigrationContext.configure(connection).get_current_revision()
