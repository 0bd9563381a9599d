"""The readings file: one writing connection, a few reading ones, and the lock of the writer."""

import contextlib
from collections.abc import Iterator
from pathlib import Path
from threading import RLock

import apsw
from filelock import FileLock, Timeout

from steadybead_collector.stores.faults import store_error, told
from steadybead_collector.stores.files import PAGE_SIZE, beside, check_whole, make_whole
from steadybead_collector.stores.schema import VERSION, identify, upgrade
from steadybead_domain.ports import StoreError

FILE_NAME = "readings.sqlite"
_BUSY_MS = 5_000
_POOLED = 4
_WAL_LIMIT = 64 * 2**20
_CHECKPOINT_PAGES = 1_000
_LAST_RESORT_PAGES = 16_000


class Database:
    """A readings file. Safe for threads.

    `writing()` holds the one writing connection under a lock; `reading()` lends a connection of
    its own to each caller, in a short read transaction.
    """

    def __init__(self, folder: Path, *, read_only: bool = False) -> None:
        self.path = folder / FILE_NAME
        self.lock = RLock()
        self.read_only = read_only
        self._idle: list[apsw.Connection] = []  # append and pop are safe for threads
        self._lock_file: FileLock | None = None
        self._writer: apsw.Connection | None = None
        self._checkpointer: apsw.Connection | None = None
        self._wal_pages = 0
        self._immutable = False
        self._closed = False
        if read_only:
            self._look()
        else:
            self._take(folder)

    @contextlib.contextmanager
    def writing(self) -> Iterator[apsw.Connection]:
        """Lend the writing connection; see `transaction`."""
        with self.lock:
            if self._writer is None:
                self.check_open()
                raise StoreError(f"{self.path} is open for reading only: nothing can be written")
            with told(self.path):
                yield self._writer

    def lending(self) -> "Lent":
        """Lend a reading connection; each statement is a transaction of its own."""
        return Lent(self)

    @contextlib.contextmanager
    def reading(self) -> Iterator[apsw.Connection]:
        """Lend a connection inside one read transaction: everything read is of one moment."""
        with self.lending() as connection:
            connection.execute("BEGIN")
            try:
                yield connection
            finally:
                connection.execute("ROLLBACK")

    def lend(self) -> apsw.Connection:
        """Give a reading connection; StoreError if the store was closed."""
        self.check_open()
        try:
            return self._idle.pop()
        except IndexError:
            return self._fresh()

    def _fresh(self) -> apsw.Connection:
        if self._immutable:
            flags = apsw.SQLITE_OPEN_READONLY | apsw.SQLITE_OPEN_URI
            return apsw.Connection(f"{self.path.absolute().as_uri()}?immutable=1", flags=flags)
        return _connect(self.path, apsw.SQLITE_OPEN_READONLY)

    def give_back(self, connection: apsw.Connection) -> None:
        """Take a reading connection back."""
        if self._closed or len(self._idle) >= _POOLED:
            connection.close()
        else:
            self._idle.append(connection)

    def check_open(self) -> None:
        """Raise StoreError if the store was closed."""
        if self._closed:
            raise StoreError("the readings store is closed: open it again")

    def checkpoint(self) -> None:
        """Carry a long WAL over into the file, most of it while others write."""
        self.check_open()
        if self._wal_pages < _CHECKPOINT_PAGES:
            return
        with told(self.path):
            if self._checkpointer is None:
                self._checkpointer = _connect(self.path, apsw.SQLITE_OPEN_READWRITE)
            self._checkpointer.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_PASSIVE)
            with self.writing() as connection:  # no one writes: the WAL can begin anew after this
                connection.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_PASSIVE)
                self._wal_pages = 0

    def close(self) -> None:
        """Close all connections that are idle and free the file; idempotent."""
        with self.lock:
            self._closed = True
            while self._idle:
                self._idle.pop().close()
            for connection in (self._checkpointer, self._writer):
                if connection is not None:
                    connection.close()
            self._checkpointer = self._writer = None
            if self._lock_file is not None:
                self._lock_file.release()
                self._lock_file = None

    def _take(self, folder: Path) -> None:
        """Become the one writer; make the file if there is none."""
        try:
            folder.mkdir(parents=True, exist_ok=True)
            lock = FileLock(f"{self.path}.lock", thread_local=False)
            lock.acquire(timeout=0)
        except Timeout:
            raise StoreError(
                f"another process writes {self.path}: stop it first, or name another data folder"
            ) from None
        except OSError as error:
            raise StoreError(
                f"cannot write in {folder} ({error.strerror}): give this user permission, or name"
                " another data folder"
            ) from None
        self._lock_file = lock
        try:
            with told(self.path):
                self._open_writer()
        except OSError as error:
            self.close()
            raise StoreError(
                f"cannot use {self.path} ({error.strerror}): give this user permission"
            ) from None
        except BaseException:
            self.close()
            raise

    def _open_writer(self) -> None:
        if not self.path.exists():
            make_whole(self.path, _create)
        check_whole(self.path)
        self._writer = _connect(self.path, apsw.SQLITE_OPEN_READWRITE)
        if self._writer.readonly("main"):
            raise StoreError(
                f"readings file {self.path}: the file is read-only: make it and its folder writable"
                " for the user that runs this"
            )
        version = identify(self._writer)
        self._writer.pragma("journal_mode", "wal")
        self._writer.pragma("synchronous", "FULL")
        self._writer.pragma("journal_size_limit", _WAL_LIMIT)
        self._writer.set_wal_hook(self._on_commit)
        upgrade(self._writer, version)

    def _on_commit(self, connection: apsw.Connection, _schema: str, pages: int) -> int:
        """Note the length of the WAL; carry it over here only if nobody keeps house."""
        self._wal_pages = pages
        if pages > _LAST_RESORT_PAGES:
            with contextlib.suppress(apsw.Error):  # the commit itself is done and stays so
                connection.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_PASSIVE)
        return apsw.SQLITE_OK

    def _look(self) -> None:
        """Check that there is a file of ours to read."""
        if not self.path.exists():
            raise StoreError(f"there is no {self.path}: start the collector once, or check --data")
        try:
            check_whole(self.path)
        except OSError as error:
            raise StoreError(
                f"cannot read {self.path} ({error.strerror}): give this user permission"
            ) from None
        with told(self.path):
            connection = self._first_reader()
            version = identify(connection)
            self.give_back(connection)
        if version < VERSION:
            raise StoreError(f"{self.path} is of an older form: start the collector once")

    def _first_reader(self) -> apsw.Connection:
        """Open a connection; without a log beside, also from a folder that cannot be written."""
        connection = self.lend()
        try:
            connection.pragma("application_id")
        except (apsw.CantOpenError, apsw.ReadOnlyError):
            if beside(self.path, "-wal").exists():
                raise
            connection.close()
            self._immutable = True
            return self.lend()
        return connection


class Lent:
    """A reading connection inside `with`; its errors are told as StoreError."""

    __slots__ = ("_connection", "_database")

    def __init__(self, database: Database) -> None:
        self._database = database

    def __enter__(self) -> apsw.Connection:
        """Borrow the connection."""
        try:
            self._connection = self._database.lend()
        except apsw.Error as error:
            raise store_error(self._database.path, error) from error
        return self._connection

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        """Give it back."""
        self._database.give_back(self._connection)
        if isinstance(error, apsw.Error):
            raise store_error(self._database.path, error) from error


def _create(path: Path) -> None:
    connection = _connect(path, apsw.SQLITE_OPEN_READWRITE | apsw.SQLITE_OPEN_CREATE)
    connection.pragma("page_size", PAGE_SIZE)
    upgrade(connection, 0)
    connection.close()


def _connect(path: Path, flags: int) -> apsw.Connection:
    connection = apsw.Connection(str(path), flags=flags)
    connection.set_busy_timeout(_BUSY_MS)
    return connection


@contextlib.contextmanager
def transaction(connection: apsw.Connection) -> Iterator[None]:
    """Make what runs inside one commit, or nothing of it."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # a full disk may have rolled it back already
            connection.execute("ROLLBACK")
        raise
