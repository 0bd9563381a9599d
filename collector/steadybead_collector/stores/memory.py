"""The readings store of tests: everything in memory, gone when it is closed."""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from threading import RLock

import numpy as np

from steadybead_collector.stores.buckets import Filling
from steadybead_collector.stores.flat import flatten
from steadybead_collector.stores.identity import Known, accepted, sift
from steadybead_collector.stores.newest import Newest
from steadybead_collector.stores.summary import Summary, summarise
from steadybead_collector.stores.tail import Tail, between, columns_of
from steadybead_collector.stores.windows import PART_READINGS, WINDOW, forgettable
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import Appended, Span, StoreError
from steadybead_domain.readings import Batch, Buckets, Columns, Int64, Reading


class MemoryReadings:
    """A `ReadingsStore` in memory. One lock makes it safe to call from several threads."""

    def __init__(self) -> None:
        self._lock = RLock()
        self._ids: dict[ChannelId, int] = {}
        self._tail = Tail()
        self._newest = Newest()
        self._journal: deque[tuple[int, Batch]] = deque()
        self._forgotten: dict[int, dict[int, Summary]] = {}
        self._position = 0
        self._closed = False

    def append(self, batch: Batch) -> Appended:
        """Keep what is new; raise ValueError on NaN or infinity, keeping nothing."""
        flat = flatten(batch)
        with self._open():
            ids = self._numbers(flat.names)
            sifted = sift(flat, self._newest.times(ids), self._known)
            new, batch = sifted.flat, accepted(batch, sifted, flat)
            if len(new):
                ids = self._numbers(new.names)
                self._position += 1
                self._newest.see(ids, new.starts, new.rows)
                self._tail.add(self._position, ids, new.starts, new.rows)
                self._journal.append((self._position, batch))
            return Appended(self._position, batch, sifted.duplicates, tuple(sifted.conflicts))

    def channels(self) -> Sequence[ChannelId]:
        """Name the channels that have readings, or had some."""
        with self._open():
            return list(self._ids)

    def latest(self, channels: Sequence[ChannelId]) -> Mapping[ChannelId, Reading]:
        """Give the newest reading of each channel that has one."""
        with self._open():
            found = {c: self._newest.reading(self._ids[c]) for c in channels if c in self._ids}
        return {c: reading for c, reading in found.items() if reading is not None}

    def read(self, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
        """Walk the readings in ascending time, at most 65 536 at once."""
        with self._open():
            rows = between(self._tail.rows(self._ids.get(channel, -1)), start, end)
        for i in range(0, len(rows), PART_READINGS):
            yield columns_of(rows[i : i + PART_READINGS])

    def buckets(self, channel: ChannelId, start: int, end: int, points: int) -> Buckets:
        """Summarise [start, end) in at most `points` equal buckets."""
        filling = Filling.over(start, end, points)
        if filling.start < filling.end:
            for window, part in self._forgotten.get(self._ids.get(channel, -1), {}).items():
                filling.add_window(window * WINDOW, (window + 1) * WINDOW, part)
        for rows in self.read(channel, start, end):
            filling.add_rows(rows)
        return filling.buckets()

    def since(self, position: int) -> Iterator[tuple[int, Batch]]:
        """Replay what was accepted after `position`, as far as it was not released."""
        with self._open():
            rows = [row for row in self._journal if row[0] > position]
        yield from rows

    def release(self, position: int) -> None:
        """Drop what waits for a replay, up to `position`."""
        with self._open():
            while self._journal and self._journal[0][0] <= position:
                self._journal.popleft()

    def retain(self, before: int, keep: Sequence[Span]) -> int:
        """Forget whole 10-minute windows that ended by `before` and touch no kept span."""
        gone = 0
        with self._open():
            for channel, i in self._ids.items():
                rows = self._tail.rows(i)
                window = rows["time"] // WINDOW
                spans = [s for s in keep if s.station == channel.station_id]
                drop = forgettable(window, before, spans)
                for number in np.unique(window[drop]).tolist():
                    part = summarise(columns_of(rows[window == number]))
                    self._forgotten.setdefault(i, {})[number] = part
                self._tail.replace(i, rows[~drop])
                gone += int(np.count_nonzero(drop))
        return gone

    def maintain(self) -> bool:
        """Do nothing: nothing ever waits."""
        return False

    def close(self) -> None:
        """Forget everything; idempotent."""
        with self._lock:
            self._closed = True
            self._tail = Tail()
            self._journal.clear()

    def _open(self) -> RLock:
        if self._closed:
            raise StoreError("the readings store is closed: open it again")
        return self._lock

    def _numbers(self, names: Sequence[ChannelId]) -> Int64:
        for name in names:
            self._newest.reserve(self._ids.setdefault(name, len(self._ids)))
        return np.array([self._ids[name] for name in names], np.int64)

    def _known(self, channel: ChannelId, times: Int64) -> Known:
        i = self._ids[channel]
        rows = between(self._tail.rows(i), int(times[0]), int(times[-1]) + 1)
        gone = np.array(sorted(self._forgotten.get(i, ())), np.int64)
        return Known(rows["time"].copy(), rows["raw"].copy(), np.isin(times // WINDOW, gone))
