"""The newest version is known without the migration library, which is slow to load."""

from alembic.config import Config
from alembic.script import ScriptDirectory

from steadybead_collector.records.migrate import MIGRATIONS, head


def test_the_newest_scripts_name_is_the_head() -> None:
    config = Config(attributes={})
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "newline")
    assert head() == ScriptDirectory.from_config(config).get_current_head()
