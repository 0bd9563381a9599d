"""Faults of the file and of the disk, told in one sentence with a remedy."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import apsw

from steadybead_domain.ports import StoreError

_REMEDIES: tuple[tuple[type[apsw.Error], str], ...] = (
    (
        apsw.FullError,
        "the disk is full; nothing acknowledged is lost: free space, the store then goes on",
    ),
    (
        apsw.ReadOnlyError,
        "the file or its folder is read-only: make both writable for the user that runs this",
    ),
    (
        apsw.CantOpenError,
        "it cannot be opened: check that the folder exists and that this user may use it",
    ),
    (apsw.NotADBError, "it is no SQLite file: move it away, or name another data folder"),
    (
        apsw.CorruptError,
        "it is damaged: stop, keep the file, and restore the newest backup",
    ),
    (
        apsw.BusyError,
        "another process holds it for too long: stop what reads or copies it, then try again",
    ),
    (
        apsw.IOError,
        "the disk refused; nothing acknowledged is lost: check space, quota and health of the disk",
    ),
    (apsw.PermissionsError, "this user may not use it: give it read and write permission"),
)


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn a database error into a StoreError that names the file and the remedy."""
    try:
        yield
    except apsw.Error as error:
        raise store_error(path, error) from error


def store_error(path: Path, error: apsw.Error) -> StoreError:
    """Name the file, what happened and the remedy."""
    for kind, remedy in _REMEDIES:
        if isinstance(error, kind):
            return StoreError(f"readings file {path}: {remedy} ({_short(error)})")
    return StoreError(f"readings file {path}: {_short(error)}; report this")


def _short(error: apsw.Error) -> str:
    return f"{type(error).__name__.removesuffix('Error')}: {error}".splitlines()[0][:160]
