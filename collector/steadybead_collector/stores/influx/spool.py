"""Batches that wait on this machine's disk while the readings server is away."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import apsw
import numpy as np

from steadybead_collector.stores import journal_codec
from steadybead_collector.stores.faults import told
from steadybead_collector.stores.flat import Flat
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import StoreError

FILE_NAME = "readings-spool.sqlite"
_BUSY_MS = 5_000
_TABLES = """
CREATE TABLE IF NOT EXISTS waiting (
  position INTEGER PRIMARY KEY, received INTEGER NOT NULL, names TEXT NOT NULL, data BLOB NOT NULL
);
CREATE TABLE IF NOT EXISTS own (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
"""


@dataclass(frozen=True, slots=True, eq=False)
class Waiting:
    """One batch that waits, under the position that it was given."""

    position: int
    received: int
    flat: Flat


class Spool:
    """A bounded queue in one SQLite file, synced to disk before `put` returns.

    Not safe for threads: the owner holds a lock. `size` counts the bytes of the batches.
    """

    def __init__(self, folder: Path, limit_bytes: int) -> None:
        self.path = folder / FILE_NAME
        self._limit = limit_bytes
        folder.mkdir(parents=True, exist_ok=True)
        self.path.touch(mode=0o600, exist_ok=True)
        with told(self.path):
            self._file = apsw.Connection(str(self.path))
            self._file.set_busy_timeout(_BUSY_MS)
            self._file.pragma("journal_mode", "persist")
            self._file.pragma("synchronous", "extra")
            self._file.execute(_TABLES)
            found = "SELECT count(*), ifnull(sum(length(data) + length(names)), 0) FROM waiting"
            self.count, self.size = next(self._file.execute(found))

    def own(self, name: str, fresh: str) -> str:
        """Give a text that this folder keeps for ever; `fresh` is taken if there is none yet."""
        with told(self.path):
            self._file.execute("INSERT OR IGNORE INTO own VALUES (?, ?)", (name, fresh))
            return str(self._file.execute("SELECT value FROM own WHERE name = ?", (name,)).get)

    def put(self, waiting: Waiting) -> None:
        """Add a batch behind the others; raise StoreError, with nothing added, if it is full."""
        flat = waiting.flat
        names = "\n".join(map(str, flat.names))
        ids = np.arange(len(flat.names), dtype=np.int64)
        data = journal_codec.encode(ids, flat.starts, flat.rows)
        size = len(data) + len(names)
        if self.size + size > self._limit:
            raise StoreError(
                f"readings server away and {self.path.name} is full ({self.size / 2**20:.0f} MiB):"
                " nothing more is acknowledged, the broker keeps it; bring the server back"
            )
        with told(self.path):
            self._file.execute(
                "INSERT INTO waiting VALUES (?, ?, ?, ?)",
                (waiting.position, waiting.received, names, data),
            )
        self.count += 1
        self.size += size

    def after(self, position: int, limit: int = -1) -> Iterator[Waiting]:
        """Walk the batches behind a position, in their order."""
        with told(self.path):
            found: list[Any] = self._file.execute(
                "SELECT position, received, names, data FROM waiting WHERE position > ?"
                " ORDER BY position LIMIT ?",
                (position, limit),
            ).fetchall()
        for at, received, names, data in found:
            _, starts, rows = journal_codec.decode(data)
            channels = tuple(ChannelId.parse(name) for name in names.split("\n"))
            yield Waiting(at, received, Flat(channels, starts, rows))

    def positions(self) -> set[int]:
        """Give the positions that wait."""
        with told(self.path):
            return {row[0] for row in self._file.execute("SELECT position FROM waiting")}

    def remove(self, positions: Sequence[int]) -> None:
        """Drop batches that the server has, all or none."""
        gone = 0
        with told(self.path), self._file:
            for position in positions:
                found = "SELECT length(data) + length(names) FROM waiting WHERE position = ?"
                gone += self._file.execute(found, (position,)).get or 0
                self._file.execute("DELETE FROM waiting WHERE position = ?", (position,))
        self.count -= len(positions)
        self.size -= gone

    def close(self) -> None:
        """Close the file; idempotent."""
        self._file.close()
