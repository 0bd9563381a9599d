"""A start loads nothing that only files, feeds or a change of tables need."""

import subprocess
import sys

from whole_process import environment

UNNEEDED = (
    "alembic",
    "apprise",
    "fpdf",
    "icalendar",
    "influxdb_client",
    "pandas",
    "pint",
    "pyarrow",
)


def test_the_servers_load_no_library_that_a_start_does_not_need() -> None:
    code = f"import sys, steadybead_api.compose; print(*({set(UNNEEDED)!r} & sys.modules.keys()))"
    words = [sys.executable, "-c", code]
    found = subprocess.run(words, capture_output=True, text=True, check=True, env=environment())
    assert found.stdout.split() == []
