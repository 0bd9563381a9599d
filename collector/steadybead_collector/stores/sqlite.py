"""The embedded readings store: years of readings in one SQLite file."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import apsw
import numpy as np

from steadybead_collector.stores import journal_codec
from steadybead_collector.stores.buckets import buckets_of
from steadybead_collector.stores.database import Database
from steadybead_collector.stores.flat import Flat, flatten
from steadybead_collector.stores.identity import Known, accepted, sift
from steadybead_collector.stores.newest import Newest
from steadybead_collector.stores.tail import Tail, between, columns_of
from steadybead_collector.stores.windows import PART_READINGS
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Plant
from steadybead_domain.ports import Appended, Span
from steadybead_domain.readings import Batch, Buckets, Columns, Int64, Reading


class SqliteReadings:
    """A `ReadingsStore` in one file. One lock makes it safe to call from several threads."""

    def __init__(
        self, folder: Path, plant: Plant | None = None, *, read_only: bool = False
    ) -> None:
        self._database = Database(folder, read_only=read_only)
        self._ids: dict[ChannelId, int] = {}
        self._tail = Tail()
        self._newest = Newest()
        self._position = 0
        self._seen = 0
        self._plant = plant
        self._refresh()
        self._position = self._seen

    def append(self, batch: Batch) -> Appended:
        """Commit durably, then return; raise ValueError on NaN or infinity, storing nothing."""
        flat = flatten(batch)
        with self._database.writing() as connection:
            fresh = [name for name in flat.names if name not in self._ids]
            ids = dict(self._ids)
            for name in fresh:
                ids[name] = len(ids) + 1
                self._newest.reserve(ids[name])
            numbers = _numbers(ids, flat.names)
            self._ids, before = ids, self._ids
            sifted = sift(flat, self._newest.times(numbers), self._known)
            new, batch = sifted.flat, accepted(batch, sifted, flat)
            try:
                if len(new):
                    self._commit(connection, batch.received, fresh, new)
            except BaseException:
                self._ids = before
                raise
            return Appended(self._position, batch, sifted.duplicates, tuple(sifted.conflicts))

    def _commit(
        self, connection: apsw.Connection, received: int, fresh: list[ChannelId], new: Flat
    ) -> None:
        numbers = _numbers(self._ids, new.names)
        data = journal_codec.encode(numbers, new.starts, new.rows)
        with connection:
            for name in fresh:
                connection.execute(
                    "INSERT INTO channel (id, name) VALUES (?, ?)", (self._ids[name], str(name))
                )
            connection.execute(
                "INSERT INTO journal VALUES (?, ?, ?, ?)",
                (self._position + 1, received, len(new), data),
            )
        self._position += 1
        self._seen = self._position
        self._newest.see(numbers, new.starts, new.rows)
        self._tail.add(self._position, numbers, new.starts, new.rows)

    def latest(self, channels: Sequence[ChannelId]) -> Mapping[ChannelId, Reading]:
        """Give the newest reading of each channel that has one."""
        with self._database.lock:
            self._refresh()
            known = [c for c in channels if c in self._ids]
            found = self._newest.readings(self._ids[c] for c in known)
        return {c: reading for c, reading in zip(known, found, strict=True) if reading is not None}

    def read(self, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
        """Walk the readings in ascending time, at most 65 536 at once."""
        with self._database.lock:
            self._refresh()
            rows = between(self._tail.rows(self._ids.get(channel, -1)), start, end)
        for i in range(0, len(rows), PART_READINGS):
            yield columns_of(rows[i : i + PART_READINGS])

    def buckets(self, channel: ChannelId, start: int, end: int, points: int) -> Buckets:
        """Summarise [start, end) in at most `points` equal buckets, exactly."""
        return buckets_of(self.read(channel, start, end), start, end, points)

    def since(self, position: int) -> Iterator[tuple[int, Batch]]:
        """Replay what was accepted after `position`, as far as it was not released."""
        while True:
            with self._database.reading() as connection:
                released = "SELECT value FROM meta WHERE key = 'released'"
                position = max(position, connection.execute(released).get)
                rows = list(
                    connection.execute(
                        "SELECT seq, received, data FROM journal WHERE seq > ? ORDER BY seq LIMIT 64",
                        (position,),
                    )
                )
                names = _names(connection)
            for seq, received, data in rows:
                ids, starts, columns = journal_codec.decode(data)
                flat = Flat(tuple(names[i] for i in ids.tolist()), starts, columns)
                yield seq, flat.batch(received)
                position = seq
            if not rows:
                return

    def release(self, position: int) -> None:
        """Say that nobody will ask to replay anything up to `position` again."""
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE meta SET value = max(value, ?) WHERE key = 'released'", (position,)
            )

    def retain(self, before: int, keep: Sequence[Span]) -> int:
        """Forget nothing yet: the journal keeps all."""
        return 0

    def maintain(self) -> bool:
        """Do nothing: nothing waits."""
        return False

    def close(self) -> None:
        """Finish; idempotent."""
        self._database.close()

    def _refresh(self) -> None:
        """Take note of journal rows that this object has not seen."""
        with self._database.reading() as connection:
            for name, i in ((name, i) for i, name in _names(connection).items()):
                self._ids[name] = i
                self._newest.reserve(i)
            rows = connection.execute(
                "SELECT seq, data FROM journal WHERE seq > ? ORDER BY seq", (self._seen,)
            )
            for seq, data in rows:
                ids, starts, columns = journal_codec.decode(data)
                self._newest.see(ids, starts, columns)
                self._tail.add(seq, ids, starts, columns)
                self._seen = seq

    def _known(self, channel: ChannelId, times: Int64) -> Known:
        rows = between(self._tail.rows(self._ids[channel]), int(times[0]), int(times[-1]) + 1)
        return Known(rows["time"].copy(), rows["raw"].copy(), np.zeros(len(times), np.bool_))


def _numbers(ids: Mapping[ChannelId, int], names: Sequence[ChannelId]) -> Int64:
    return np.array([ids[name] for name in names], np.int64)


def _names(connection: apsw.Connection) -> dict[int, ChannelId]:
    rows = connection.execute("SELECT id, name FROM channel")
    return {int(i): ChannelId.parse(str(name)) for i, name in rows}
