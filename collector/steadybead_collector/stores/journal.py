"""The journal of the readings file: append, load, replay, trim."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import apsw

from steadybead_collector.stores import journal_codec
from steadybead_collector.stores.database import transaction
from steadybead_collector.stores.flat import Flat
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Batch, Columns, Int64

_REPLAY_ROWS = 64
_TRIM_ROWS = 256


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One append: channel `ids[i]` owns rows `starts[i]:starts[i + 1]`."""

    position: int
    received: int
    ids: Int64
    starts: Int64
    rows: Columns

    def batch(self, names: Mapping[int, ChannelId]) -> Batch:
        """Give the readings by channel."""
        return Flat(tuple(names[i] for i in self.ids.tolist()), self.starts, self.rows).batch(
            self.received
        )


def insert(connection: apsw.Connection, row: Row) -> None:
    """Add a row: a commit of its own, or part of the caller's transaction."""
    data = journal_codec.encode(row.ids, row.starts, row.rows)
    connection.execute(
        "INSERT INTO journal VALUES (?, ?, ?, ?)", (row.position, row.received, len(row.rows), data)
    )


def rows_after(connection: apsw.Connection, position: int) -> Iterator[Row]:
    """Walk the rows after a position."""
    found = connection.execute(
        "SELECT seq, received, data FROM journal WHERE seq > ? ORDER BY seq", (position,)
    )
    for seq, received, data in found:
        yield Row(seq, received, *journal_codec.decode(data))


def replay_part(
    connection: apsw.Connection, position: int, names: Mapping[int, ChannelId]
) -> Sequence[tuple[int, Batch]]:
    """Give the next rows that were not released, at most 64."""
    position = max(position, meta(connection, "released"))
    rows = islice(rows_after(connection, position), _REPLAY_ROWS)
    return [(row.position, row.batch(names)) for row in rows]


def trim(connection: apsw.Connection, upto: int) -> bool:
    """Delete rows up to a position, a few hundred at once; True if more wait."""
    last = connection.execute(
        "SELECT max(seq) FROM (SELECT seq FROM journal WHERE seq <= ? ORDER BY seq LIMIT ?)",
        (upto, _TRIM_ROWS),
    ).get
    if last is None:
        return False
    with transaction(connection):
        connection.execute("DELETE FROM journal WHERE seq <= ?", (last,))
        set_meta(connection, "trimmed", last)
    return bool(last < upto)


def newest_position(connection: apsw.Connection) -> int:
    """Give the position of the last append ever, also where its row is gone."""
    last = connection.execute("SELECT max(seq) FROM journal").get
    return max(last or 0, meta(connection, "trimmed"), meta(connection, "merged"))


def names(connection: apsw.Connection) -> dict[int, ChannelId]:
    """Give the channels by number."""
    found = connection.execute("SELECT id, name FROM channel")
    return {i: ChannelId.parse(name) for i, name in found}


def meta(connection: apsw.Connection, key: str) -> int:
    """Read a number of the store's own."""
    return int(connection.execute("SELECT value FROM meta WHERE key = ?", (key,)).get)


def set_meta(connection: apsw.Connection, key: str, value: int) -> None:
    """Write a number of the store's own."""
    connection.execute("UPDATE meta SET value = ? WHERE key = ?", (value, key))
