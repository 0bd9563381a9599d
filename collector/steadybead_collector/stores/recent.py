"""What the store keeps in memory: numbers of channels, newest readings, what is not merged yet."""

from collections import deque
from collections.abc import Mapping

import apsw
import numpy as np

from steadybead_collector.stores.journal import Row, meta, newest_position, rows_after
from steadybead_collector.stores.newest import Newest, read_newest
from steadybead_collector.stores.tail import Rows, Tail
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Int64
from steadybead_domain.times import SECOND


class Recent:
    """Memory beside the file. Not safe for threads: the owner holds a lock."""

    def __init__(self) -> None:
        self.ids: dict[ChannelId, int] = {}
        self.names: dict[int, ChannelId] = {}
        self.tail = Tail()
        self.newest = Newest()
        self.position = 0
        self.merged = -1
        self.clock = Clock()
        self._asked: tuple[ChannelId, ...] = ()
        self._numbers = np.empty(0, np.int64)

    def load(self, connection: apsw.Connection) -> None:
        """Take up what the file holds beyond what was seen."""
        known = "SELECT id, name FROM channel WHERE id > ?"
        for i, name in connection.execute(known, (max(self.names, default=0),)):
            self.name(ChannelId.parse(name), i)
        merged = meta(connection, "merged")
        if merged != self.merged:
            self.merged = merged
            self.tail.drop(merged)
            for i, data in read_newest(connection):
                self.newest.put(i, data)
        for row in rows_after(connection, max(self.position, merged)):
            self.take(row)
        self.position = max(self.position, newest_position(connection))

    def name(self, name: ChannelId, i: int) -> None:
        """Give a channel its number."""
        self.ids[name] = i
        self.names[i] = name
        self.newest.reserve(i)

    def numbers(self, names: tuple[ChannelId, ...]) -> Int64:
        """Give the numbers of channels, int64 [k], not to be changed; 0 for one that is new.

        Most appends bring the same channels as the one before.
        """
        if names != self._asked:
            get = self.ids.get
            numbers = np.array([get(name, 0) for name in names], np.int64)
            if not numbers.all():
                return numbers
            self._asked, self._numbers = names, numbers
        return self._numbers

    def leave_out_merged(self, connection: apsw.Connection) -> None:
        """Drop from the tail what chunks hold already."""
        for channel in self.tail.channels():
            rows = self.tail.rows(channel)
            for window in np.unique(rows["time"] // WINDOW).tolist():
                upto = merged_upto(connection, channel, window)
                if upto is not None:
                    self.tail.remove(channel, window * WINDOW, (window + 1) * WINDOW, upto)

    def take(self, row: Row) -> None:
        """Take note of one append."""
        self.newest.see(row.ids, row.starts, row.rows)
        self.tail.add(row.position, row.ids, row.starts, row.rows)
        self.position = row.position
        self.clock.tick(row.received, row.position)


class Clock:
    """Which journal position was the newest how long ago, by the times of receipt.

    A clock that is set back makes what came before look as new as what comes now: no harm, it
    is merged a little later.
    """

    _KEPT = 4_000

    def __init__(self) -> None:
        self.now = 0
        self._ticks: deque[tuple[int, int]] = deque(maxlen=self._KEPT)

    def tick(self, received: int, position: int) -> None:
        """Note a receipt, one a second."""
        if received < self.now:
            self._ticks = deque(((min(t, received), p) for t, p in self._ticks), self._KEPT)
        self.now = received
        if not self._ticks or received - self._ticks[-1][0] >= SECOND:
            self._ticks.append((received, position))

    def position_before(self, age: int) -> int:
        """Give a position that is at least `age` µs old; 0 if none is."""
        found = 0
        for received, position in self._ticks:
            if received > self.now - age:
                break
            found = position
        return found


def merged_upto(connection: apsw.Connection, channel: int, window: int) -> int | None:
    """Give the position up to which a window is in chunks; None if it has no chunk."""
    upto: int | None = connection.execute(
        "SELECT max(upto) FROM window WHERE channel = ? AND window = ?", (channel, window)
    ).get
    return upto


def unmerged(rows: Rows, upto: Mapping[int, int]) -> Rows:
    """Leave out rows that a chunk holds: `upto` gives the position merged of each window."""
    if not upto or not len(rows):
        return rows
    window = rows["time"] // WINDOW
    limits = np.zeros(len(rows), np.int64)
    for number, position in upto.items():
        limits[window == number] = position
    left: Rows = rows[rows["position"] > limits]
    return left
