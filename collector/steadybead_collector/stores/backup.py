"""Backups of the readings file while it is written, and their check before they are restored."""

import contextlib
import hashlib
import os
import stat
from pathlib import Path

import apsw

from steadybead_collector.stores.database import FILE_NAME, Database
from steadybead_collector.stores.faults import told
from steadybead_collector.stores.files import make_whole, sync_file, sync_folder
from steadybead_collector.stores.leaves import leaf_hash
from steadybead_collector.stores.packed import unpack
from steadybead_collector.stores.schema import identify
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import StoreError

_PAGES_A_STEP = 4_096
_BLOCK = 2**20
_BUSY_MS = 15_000
_SEALED = (
    "SELECT name, window, part, leaf, data FROM channel JOIN window ON window.channel = channel.id"
    " JOIN chunk ON chunk.id = window.chunk ORDER BY channel, window, part"
)


def backup(source_dir: Path, target: Path) -> str:
    """Copy the readings of one moment to `target`, beside the writer; give its SHA-256 in hex.

    `target` appears only when it is whole, with `<target>.sha256` beside it in the form that
    `sha256sum -c` reads. While it runs, the writer's WAL grows by what is written meanwhile.
    Raises StoreError with a remedy.
    """
    part = target.with_name(f"{target.name}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        copy_readings(source_dir, part)
        digest = file_sha256(part)
        part.replace(target)
        _write_digest(target, digest)
        sync_folder(target.parent)
    except OSError as error:
        raise StoreError(
            f"cannot write the backup {target} ({error.strerror}): check space and permission"
        ) from error
    finally:
        part.unlink(missing_ok=True)
    return digest


def copy_readings(source_dir: Path, part: Path) -> None:
    """Copy the readings of one moment, beside the writer; StoreError, OSError."""
    part.unlink(missing_ok=True)
    source = Database(source_dir, read_only=True)
    try:
        with source.reading() as connection:
            connection.execute("SELECT count(*) FROM meta").get  # noqa: B018 — the moment begins
            with told(part):
                _copy(connection, part)
    finally:
        source.close()


def copy_open(source: Path, part: Path) -> None:
    """Copy another database of SQLite, of one moment, while other processes use it; StoreError.

    Where it has no write-ahead log, writers wait until the copy is done. Not for a file that this
    process itself writes by another library of SQLite: their locks would be the same
    (https://sqlite.org/howtocorrupt.html, 2.2.1).
    """
    with told(source):
        connection = apsw.Connection(str(source), flags=apsw.SQLITE_OPEN_READONLY)
        try:
            connection.set_busy_timeout(_BUSY_MS)
            _begin_moment(connection, source)
            _copy(connection, part)
        finally:
            connection.close()


def _begin_moment(connection: apsw.Connection, source: Path) -> None:
    try:
        connection.execute("BEGIN")
        connection.execute("SELECT count(*) FROM sqlite_schema").get  # noqa: B018 — as above
    except apsw.ReadOnlyError:  # who only reads cannot take back what was half done
        raise StoreError(
            f"{source}: its last writer was cut off and has left a journal; start Steadybead"
            " on this folder once, which puts it right, and back up again"
        ) from None


def check_structure(file: Path) -> None:
    """Check the structure of a database that nobody writes; StoreError that says what is wrong."""
    with told(file), contextlib.closing(_open_unchanging(file)) as connection:
        _check_structure(connection, file)


def check(file: Path) -> int:
    """Check a readings file or backup whole; give the number of sealed chunks that were hashed.

    Raises StoreError that says what is wrong: the digest beside it, the database's structure, or
    the leaf hash of a chunk.
    """
    if not file.exists():
        raise StoreError(f"there is no {file}: name a backup that exists")
    _check_digest(file)
    with told(file), contextlib.closing(_open_unchanging(file)) as connection:
        identify(connection)
        _check_structure(connection, file)
        return _check_leaves(connection, file)


def restore(file: Path, data_dir: Path) -> int:
    """Check a backup and put it into an empty data folder; give the number of chunks checked.

    Raises StoreError, and then leaves the folder as it was.
    """
    target = data_dir / FILE_NAME
    if target.exists():
        raise StoreError(f"{target} is there already: move it away first, nothing was changed")
    chunks = check(file)
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
        make_whole(target, lambda fresh: copy_file(file, fresh))
    except OSError as error:
        raise StoreError(
            f"cannot write {target} ({error.strerror}): check space and permission"
        ) from error
    return chunks


def file_sha256(file: Path) -> str:
    """Hash a file's bytes; hex."""
    digest = hashlib.sha256()
    with file.open("rb") as stream:
        while block := stream.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()


def _open_unchanging(file: Path) -> apsw.Connection:
    flags = apsw.SQLITE_OPEN_READONLY | apsw.SQLITE_OPEN_URI
    return apsw.Connection(f"{file.absolute().as_uri()}?immutable=1", flags=flags)


def _check_structure(connection: apsw.Connection, file: Path) -> None:
    found = connection.execute("PRAGMA integrity_check(1)").get
    if found != "ok":
        raise StoreError(f"{file} is damaged ({found}): take an older backup")


def _copy(connection: apsw.Connection, part: Path) -> None:
    """Copy page by page inside the caller's read transaction, so all pages are of one moment."""
    part.touch(mode=0o600)
    copy = apsw.Connection(str(part))
    try:
        with copy.backup("main", connection, "main") as job:
            while not job.done:
                job.step(_PAGES_A_STEP)
        copy.pragma("journal_mode", "delete")
    finally:
        copy.close()
    sync_file(part)


def copy_file(file: Path, part: Path) -> None:
    """Copy a file with its rights, making the folder it goes to; on disk when this returns."""
    part.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    part.touch(mode=stat.S_IMODE(file.stat().st_mode))
    with file.open("rb") as stream, part.open("wb") as to:
        while block := stream.read(_BLOCK):
            to.write(block)
        to.flush()
        os.fsync(to.fileno())


def _digest_file(file: Path) -> Path:
    return file.with_name(f"{file.name}.sha256")


def _write_digest(file: Path, digest: str) -> None:
    part = file.with_name(f"{file.name}.sha256.part")
    part.write_text(f"{digest}  {file.name}\n", encoding="utf-8")
    sync_file(part)
    part.replace(_digest_file(file))


def _check_digest(file: Path) -> None:
    beside = _digest_file(file)
    if not beside.exists():
        return
    expected = beside.read_text(encoding="utf-8").split()[:1]
    if expected != [file_sha256(file)]:
        raise StoreError(
            f"{file} is not what was backed up: its SHA-256 differs from {beside.name}; take"
            " another backup"
        )


def _check_leaves(connection: apsw.Connection, file: Path) -> int:
    count = 0
    for name, window, part, leaf, data in connection.execute(_SEALED):
        start = window * WINDOW
        rows = unpack([data], start, start + WINDOW)
        if leaf_hash(ChannelId.parse(name), start, part, rows) != leaf:
            raise StoreError(
                f"{file}: the readings of {name} in the window at {start} µs are not those that"
                " were sealed; take an older backup"
            )
        count += 1
    return count
