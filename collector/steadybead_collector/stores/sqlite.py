"""The embedded readings store: years of readings in one SQLite file."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

import apsw
import numpy as np

from steadybead_collector.stores import journal, retention
from steadybead_collector.stores.aggregate import fill
from steadybead_collector.stores.buckets import Filling
from steadybead_collector.stores.database import Database, transaction
from steadybead_collector.stores.flat import Flat, flatten
from steadybead_collector.stores.housekeeping import Housekeeper
from steadybead_collector.stores.identity import Known, accepted, sift
from steadybead_collector.stores.leaves import Leaf, read_leaves, read_sealed
from steadybead_collector.stores.recent import Recent
from steadybead_collector.stores.tail import Rows
from steadybead_collector.stores.trace import View, known, read_on, slices
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Plant
from steadybead_domain.ports import Appended, Span
from steadybead_domain.readings import Batch, Buckets, Columns, Int64, Reading


class SqliteReadings:
    """A `ReadingsStore` in one file.

    Safe to call from several threads: one connection writes under a lock, readers each borrow a
    connection of their own for one short transaction. Housekeeping packs outside that lock. One
    process writes; with `read_only` any number of others read while it does.
    """

    def __init__(
        self, folder: Path, plant: Plant | None = None, *, read_only: bool = False
    ) -> None:
        self._database = Database(folder, read_only=read_only)
        self._recent = Recent()
        self._facts = _facts(plant)
        try:
            with self._database.reading() as connection:
                self._recent.load(connection)
                self._recent.leave_out_merged(connection)
            if not read_only:
                self._describe_channels()
        except BaseException:
            self._database.close()
            raise
        self._housekeeper = Housekeeper(self._database, self._recent)

    def append(self, batch: Batch) -> Appended:
        """Commit durably, then return; raise ValueError on NaN or infinity, storing nothing."""
        flat = flatten(batch)
        recent = self._recent
        with self._database.writing() as connection:
            ids = recent.numbers(flat.names)
            sifted = sift(flat, recent.newest.times(ids), self._lookup(connection))
            new, batch = sifted.flat, accepted(batch, sifted, flat)
            if len(new):
                ids = ids if new is flat else recent.numbers(new.names)
                self._commit(connection, batch.received, new, ids)
            return Appended(recent.position, batch, sifted.duplicates, tuple(sifted.conflicts))

    def channels(self) -> Sequence[ChannelId]:
        """Name the channels that have readings, or had some that were forgotten."""
        with self._database.lock:
            self._follow_writer()
            return list(self._recent.ids)

    def latest(self, channels: Sequence[ChannelId]) -> Mapping[ChannelId, Reading]:
        """Give the newest reading of each channel that has one."""
        recent = self._recent
        with self._database.lock:
            self._follow_writer()
            found = {c: recent.newest.reading(recent.ids[c]) for c in channels if c in recent.ids}
        return {c: reading for c, reading in found.items() if reading is not None}

    def read(self, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
        """Walk the readings in ascending time, at most 65 536 at once.

        Each part is of one moment; no transaction is open while the caller works on it.
        """
        while start < end:
            part = self._read_on(channel, start, end)
            if part is None:
                return
            rows, start = part
            yield from slices(rows)

    def buckets(self, channel: ChannelId, start: int, end: int, points: int) -> Buckets:
        """Summarise [start, end) in at most `points` equal buckets, exactly.

        Where readings were forgotten, edges give way to the 10-minute windows that are left.
        """
        filling = Filling.over(start, end, points)
        with self._view(channel) as view:
            if view is not None:
                fill(view, filling)
        return filling.buckets()

    def since(self, position: int) -> Iterator[tuple[int, Batch]]:
        """Replay what was accepted after `position`, as far as it was not released."""
        while True:
            with self._database.reading() as connection:
                part = journal.replay_part(connection, position, journal.names(connection))
            if not part:
                return
            yield from part
            position = part[-1][0]

    def release(self, position: int) -> None:
        """Say that nobody will ask to replay anything up to `position` again."""
        with self._database.writing() as connection, transaction(connection):
            if position > journal.meta(connection, "released"):
                journal.set_meta(connection, "released", min(position, self._recent.position))

    def retain(self, before: int, keep: Sequence[Span]) -> int:
        """Forget whole 10-minute windows that ended by `before` and touch no kept span.

        Returns the number of readings forgotten. Summaries, rollups and leaf hashes stay.
        """
        self._housekeeper.seal(before)
        gone = 0
        for name, channel in list(self._recent.ids.items()):
            with self._database.reading() as connection:
                old = retention.old_chunks(connection, channel, name, before, keep)
            for piece in retention.pieces(old):
                with self._database.writing() as connection, transaction(connection):
                    gone += retention.forget(connection, piece)
        with self._database.writing() as connection, transaction(connection):
            retention.finish(connection, before)
        return gone

    def maintain(self) -> bool:
        """Do one short piece of housekeeping; True if more waits. Call it every second or so."""
        return self._housekeeper.work()

    def seal(self, before: int) -> None:
        """Merge every window that ended by `before` now, so that its leaf hashes exist."""
        self._housekeeper.seal(before)

    def leaves(self, start: int, end: int) -> list[Leaf]:
        """List the leaf hashes of all windows in [start, end), by channel, window and part."""
        with self._database.reading() as connection:
            return list(read_leaves(connection, start, end))

    def sealed(self, channel: ChannelId, start: int, end: int) -> list[tuple[Leaf, Columns]]:
        """Give the sealed chunks of the windows that touch [start, end), whole."""
        with self._database.reading() as connection:
            return list(read_sealed(connection, channel, start, end))

    def close(self) -> None:
        """Finish; idempotent."""
        self._housekeeper.close()

    def _commit(self, connection: apsw.Connection, received: int, new: Flat, ids: Int64) -> None:
        recent = self._recent
        if not ids.all():
            self._commit_with_new_channels(connection, received, new, ids)
            return
        row = journal.Row(recent.position + 1, received, ids, new.starts, new.rows)
        journal.insert(connection, row)
        recent.take(row)

    def _commit_with_new_channels(
        self, connection: apsw.Connection, received: int, new: Flat, ids: Int64
    ) -> None:
        recent = self._recent
        fresh = {
            new.names[i]: len(recent.ids) + k for k, i in enumerate(np.flatnonzero(ids == 0), 1)
        }
        ids[ids == 0] = list(fresh.values())
        row = journal.Row(recent.position + 1, received, ids, new.starts, new.rows)
        with transaction(connection):
            for name, number in fresh.items():
                facts = self._facts.get(name, ("", ""))
                connection.execute(
                    "INSERT INTO channel VALUES (?, ?, ?, ?)", (number, str(name), *facts)
                )
            journal.insert(connection, row)
        for name, number in fresh.items():
            recent.name(name, number)
        recent.take(row)

    def _lookup(self, connection: apsw.Connection) -> "_Lookup":
        return _Lookup(connection, self._recent)

    def _read_on(self, channel: ChannelId, start: int, end: int) -> tuple[Columns, int] | None:
        """Read one part, and where to go on; one statement needs no transaction around it."""
        if self._database.read_only:
            with self._follow(channel) as view:
                return None if view is None else read_on(view, start, end)
        number, tail = self._tail_of(channel)
        if number is None:
            return None
        with self._database.lending() as connection:
            return read_on(View(connection, number, tail), start, end)

    @contextmanager
    def _view(self, channel: ChannelId) -> Iterator[View | None]:
        """Give one moment of a channel; None if it never had a reading.

        The rows in memory are taken before the transaction begins, so what is merged in between
        is seen twice and then left out, never missed.
        """
        if self._database.read_only:
            with self._follow(channel) as view:
                yield view
            return
        number, tail = self._tail_of(channel)
        if number is None:
            yield None
            return
        with self._database.reading() as connection:
            yield View(connection, number, tail)

    @contextmanager
    def _follow(self, channel: ChannelId) -> Iterator[View | None]:
        """Give one moment in a process that only reads: first it learns what the writer wrote."""
        with ExitStack() as stack:
            with self._database.lock:
                connection = stack.enter_context(self._database.reading())
                self._recent.load(connection)
                number, tail = self._tail_of(channel)
            yield None if number is None else View(connection, number, tail)

    def _follow_writer(self) -> None:
        """Learn, in a process that only reads, what the writer wrote meanwhile."""
        self._database.check_open()
        if self._database.read_only:
            with self._database.reading() as connection:
                self._recent.load(connection)

    def _tail_of(self, channel: ChannelId) -> tuple[int | None, Rows]:
        with self._database.lock:
            self._database.check_open()
            number = self._recent.ids.get(channel)
            return number, self._recent.tail.rows(-1 if number is None else number)

    def _describe_channels(self) -> None:
        """Write quantity and unit of known channels, for whoever reads the file without us."""
        with self._database.writing() as connection, transaction(connection):
            for name in self._facts.keys() & self._recent.ids.keys():
                connection.execute(
                    "UPDATE channel SET quantity = ?1, unit = ?2 WHERE id = ?3"
                    " AND (quantity, unit) IS NOT (?1, ?2)",
                    (*self._facts[name], self._recent.ids[name]),
                )


class _Lookup:
    """Finds stored readings of a channel, within the writer's lock."""

    def __init__(self, connection: apsw.Connection, recent: Recent) -> None:
        self.connection = connection
        self.recent = recent

    def __call__(self, channel: ChannelId, times: Int64) -> Known:
        """Look up the windows of ascending times."""
        number = self.recent.ids[channel]
        return known(View(self.connection, number, self.recent.tail.rows(number)), times)


def _facts(plant: Plant | None) -> dict[ChannelId, tuple[str, str]]:
    channels = () if plant is None else plant.channels()
    return {c.id: (c.quantity.value, c.unit) for c in channels}
