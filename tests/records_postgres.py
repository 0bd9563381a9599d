"""A PostgreSQL server of a test's own, where one is installed."""

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path

_PLACES = ("/usr/lib/postgresql", "/usr/local/opt/postgresql/bin", "/opt/homebrew/bin")


def _tool(name: str) -> str | None:
    found = shutil.which(name)
    if found is not None and name != "postgres":
        return found
    for place in _PLACES:
        candidates = sorted(Path(place).glob(f"*/bin/{name}")) or sorted(Path(place).glob(name))
        if candidates:
            return str(candidates[-1])
    return found


def why_not() -> str | None:
    """Say why no server can be started; None if one can."""
    if find_spec("psycopg") is None:
        return "psycopg is not installed"
    if _tool("initdb") is None or _tool("pg_ctl") is None:
        return "PostgreSQL is not installed"
    if os.geteuid() == 0 and not _has_user("postgres"):
        return "PostgreSQL does not run as root and there is no user postgres"
    return None


def _has_user(name: str) -> bool:
    return subprocess.run(["id", name], capture_output=True, check=False).returncode == 0


@contextmanager
def server() -> Iterator[str]:
    """Run a server on a free port of loopback; give the url of an empty database."""
    owner = "postgres" if os.geteuid() == 0 else None
    with tempfile.TemporaryDirectory(prefix="records-pg-") as folder:
        if owner is not None:
            shutil.chown(folder, owner)
        data = f"{folder}/data"
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]

        def run(*words: str) -> None:
            subprocess.run(
                words, check=True, user=owner, cwd=folder, stdout=subprocess.DEVNULL, timeout=60
            )

        made = ("--username=tester", "--auth=trust", "--encoding=UTF8", "--no-sync", "-D", data)
        run(str(_tool("initdb")), *made)
        options = f"-p {port} -c listen_addresses=127.0.0.1 -k {folder} -c fsync=off"
        control = str(_tool("pg_ctl"))
        run(control, "-D", data, "-w", "-t", "30", "-o", options, "-l", f"{folder}/log", "start")
        try:
            yield f"postgresql://tester@127.0.0.1:{port}/postgres"
        finally:
            run(control, "-D", data, "-w", "-m", "immediate", "stop")


def emptied(url: str) -> str:
    """Drop everything in the database; give the url."""
    import psycopg  # noqa: PLC0415 - optional

    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("DROP SCHEMA public CASCADE")
        connection.execute("CREATE SCHEMA public")
    return url
