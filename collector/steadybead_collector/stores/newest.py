"""The newest reading of every channel, by channel number."""

import struct
from collections.abc import Iterator

import apsw
import numpy as np

from steadybead_collector.stores.identity import NEVER
from steadybead_domain.readings import Columns, Int64, Reading

_FIELDS = ("time", "value", "raw", "quality", "reason", "plant")
_STORED = struct.Struct("<qddBBI")


class Newest:
    """Columns indexed by channel number; `NEVER` as time where there is no reading."""

    def __init__(self) -> None:
        self._columns = _blank(64)

    def reserve(self, channel: int) -> None:
        """Make room for a channel number."""
        have = len(self._columns)
        if channel >= have:
            more = _blank(max(channel + 1, 2 * have) - have)
            self._columns = Columns.concat((self._columns, more))

    def put(self, channel: int, data: bytes) -> None:
        """Take a stored row if it is newer."""
        row = _STORED.unpack(data)
        self.reserve(channel)
        if row[0] > self._columns.time[channel]:
            for field, number in zip(_FIELDS, row, strict=True):
                getattr(self._columns, field)[channel] = number

    def stored(self, channel: int) -> bytes:
        """Give a row to store."""
        return _STORED.pack(*(getattr(self._columns, field)[channel].item() for field in _FIELDS))

    def times(self, ids: Int64) -> Int64:
        """Give the newest time of each channel, int64 [k]."""
        return self._columns.time[ids]

    def see(self, ids: Int64, starts: Int64, rows: Columns) -> None:
        """Take note of readings that ascend inside each channel."""
        last = starts[1:] - 1
        newer = rows.time[last] > self._columns.time[ids]
        to, last = ids[newer], last[newer]
        for field in _FIELDS:
            getattr(self._columns, field)[to] = getattr(rows, field)[last]

    def reading(self, channel: int) -> Reading | None:
        """Give the newest reading of a channel, None if there is none."""
        return None if self._columns.time[channel] == NEVER else self._columns.row(channel)


def read_newest(connection: apsw.Connection) -> Iterator[tuple[int, bytes]]:
    """Walk the stored rows."""
    yield from connection.execute("SELECT channel, data FROM newest")


def write_newest(connection: apsw.Connection, channel: int, data: bytes) -> None:
    """Store a row inside the caller's transaction."""
    connection.execute("INSERT OR REPLACE INTO newest VALUES (?, ?)", (channel, data))


def _blank(n: int) -> Columns:
    return Columns(
        np.full(n, NEVER),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n, np.uint8),
        np.zeros(n, np.uint8),
        np.zeros(n, np.uint32),
    )
