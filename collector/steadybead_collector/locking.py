"""One process has a data folder at a time."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from steadybead_domain.errors import PlainError

_LOCK = "steadybead.lock"
_OWNER = "steadybead.pid"


class LockError(PlainError):
    """Another process has the data folder."""


@contextlib.contextmanager
def lock_folder(folder: Path) -> Iterator[None]:
    """Hold the data folder for as long as the context lasts; raise LockError if it is taken.

    The system gives the lock back when the process ends, however it ends.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lock = FileLock(folder / _LOCK)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise LockError(_taken(folder)) from None
    except OSError as error:
        raise LockError(
            f"{folder}: cannot be locked ({error.strerror}): check its rights"
        ) from None
    owner = folder / _OWNER
    try:
        owner.write_text(f"{os.getpid()}\n")
        yield
    finally:
        owner.unlink(missing_ok=True)
        lock.release()


def _taken(folder: Path) -> str:
    try:
        pid = (folder / _OWNER).read_text().strip()
    except OSError:
        pid = ""
    who = f"process {pid}" if pid.isdigit() else "another process"
    return f"{folder}: {who} is using this data folder: stop it, or give another --data"
