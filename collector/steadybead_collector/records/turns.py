"""Whose turn it is to write to one file of SQLite, among threads and processes.

SQLite lets in whoever happens to ask next, and who waits asks ever more seldom: beside a process
that writes without a pause it may wait longer than it has patience. Here the next writer stands
alone at the door: it holds a lock of its own until its transaction has begun.
"""

import contextlib
import fcntl
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

_ASK_AGAIN_S = 0.005


class LateError(Exception):
    """A writer had no turn for as long as it has patience."""


class Turns:
    """Lets the threads of a process in one by one, and with `path` also processes.

    The system gives the lock back when a process ends, however it ends. Where the file system has
    no such locks, the database alone decides between processes. Raises OSError if `path` cannot be
    opened.
    """

    def __init__(self, path: Path | None, patience_s: float) -> None:
        self._patience_s = patience_s
        self._inside = threading.Lock()
        self._door = None if path is None else os.fdopen(_opened(path), "ab")

    @contextlib.contextmanager
    def turn(self) -> Iterator[contextlib.ExitStack]:
        """Have the turn in this process; LateError. Close what is given once one has begun."""
        until = time.monotonic() + self._patience_s
        if not self._inside.acquire(timeout=self._patience_s):
            raise LateError
        try:
            with contextlib.ExitStack() as at_the_door:
                if self._stand(until):
                    at_the_door.callback(self._leave)
                yield at_the_door
        finally:
            self._inside.release()

    def close(self) -> None:
        """Close; idempotent."""
        if self._door is not None:
            self._door.close()

    def _stand(self, until: float) -> bool:
        """Wait until nobody else stands at the door; False if there is none."""
        while self._door is not None and not self._door.closed:
            try:
                fcntl.flock(self._door, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if time.monotonic() > until:
                    raise LateError from None
                time.sleep(_ASK_AGAIN_S)
            except (OSError, ValueError):  # no such locks here; or it was closed just now
                return False
            else:
                return True
        return False

    def _leave(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            if self._door is not None:
                fcntl.flock(self._door, fcntl.LOCK_UN)


def _opened(path: Path) -> int:
    return os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
