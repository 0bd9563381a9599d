"""Merging the journal into sealed chunks, one for each channel and window, in short commits.

A window is merged once it is over and nothing came for it in the last minute, or when something
in it waited for twenty minutes. What comes later is merged as a supplement to it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import apsw
import numpy as np

from steadybead_collector.stores.journal import meta
from steadybead_collector.stores.leaves import leaf_hash
from steadybead_collector.stores.newest import write_newest
from steadybead_collector.stores.packed import pack
from steadybead_collector.stores.recent import Recent
from steadybead_collector.stores.summary import Summary, summarise
from steadybead_collector.stores.tail import Rows, columns_of, join_rows
from steadybead_collector.stores.windows import WINDOW, WINDOWS_A_DAY, WINDOWS_AN_HOUR
from steadybead_domain.ids import ChannelId
from steadybead_domain.times import MINUTE

QUIET = MINUTE
OVERDUE = 20 * MINUTE
WAITING_LIMIT = 3_000_000  # readings in memory above which windows are merged before their time
ITEMS_A_COMMIT = 16
READINGS_A_COMMIT = 60_000
_ADD_WINDOW = (
    "INSERT INTO window"
    " (channel, window, part, upto, chunk, count, n, low, high, total, worst, leaf)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_GET_ROLLUP = (
    "SELECT count, n, low, high, total, worst FROM rollup"
    " WHERE channel = ? AND hours = ? AND number = ?"
)
_PUT_ROLLUP = (
    "INSERT OR REPLACE INTO rollup"
    " (channel, hours, number, count, n, low, high, total, worst)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
)


@dataclass(frozen=True, slots=True, eq=False)
class Due:
    """Readings of one channel and window, of one moment, in ascending time."""

    channel: int
    window: int
    rows: Rows

    @property
    def first(self) -> int:
        """Give the position of the oldest of them."""
        return int(self.rows["position"].min())

    @property
    def upto(self) -> int:
        """Give the position of the newest of them."""
        return int(self.rows["position"].max())


@dataclass(frozen=True, slots=True, eq=False)
class Sealed:
    """A chunk ready to be written."""

    due: Due
    part: int
    data: bytes
    summary: Summary
    leaf: bytes


@dataclass(frozen=True, slots=True)
class Plan:
    """What is due, and the position up to which all will be merged when it is done."""

    due: list[Due]
    merged: int


@dataclass(frozen=True, slots=True)
class Situation:
    """One moment of what waits, taken under the owner's lock; nothing in it changes later."""

    parts: dict[int, list[Rows]]
    position: int
    quiet: int
    overdue: int
    now: int

    @classmethod
    def of(cls, recent: Recent) -> "Situation":
        """Take the moment."""
        clock = recent.clock
        quiet, overdue = clock.position_before(QUIET), clock.position_before(OVERDUE)
        return cls(recent.tail.parts(), recent.position, quiet, overdue, clock.now)


def plan(situation: Situation, *, ended_by: int | None = None) -> Plan:
    """Choose what to merge: what is due, or all windows that ended by a time."""
    due: list[Due] = []
    left = situation.position + 1
    waiting = sum(len(rows) for parts in situation.parts.values() for rows in parts)
    for channel, parts in situation.parts.items():
        first = min(int(rows["position"].min()) for rows in parts)
        if (
            ended_by is None
            and waiting <= WAITING_LIMIT
            and not _worth_a_look(situation, parts, first)
        ):
            left = min(left, first)
            continue
        rows = join_rows(parts)
        newest = max(int(rows["time"][-1]), situation.now)
        for item in _by_window(channel, rows):
            first, last, end = item.first, item.upto, (item.window + 1) * WINDOW
            ready = first <= situation.overdue or (last <= situation.quiet and end <= newest)
            if (ready or waiting > WAITING_LIMIT) if ended_by is None else end <= ended_by:
                due.append(item)
            else:
                left = min(left, first)
    return Plan(sorted(due, key=lambda d: (d.window, d.channel)), left - 1)


def _worth_a_look(situation: Situation, parts: list[Rows], first: int) -> bool:
    """Tell whether any window of a channel may be due."""
    oldest = min(int(rows["time"][0]) for rows in parts)
    newest = max(situation.now, *(int(rows["time"][-1]) for rows in parts))
    return first <= situation.overdue or (oldest // WINDOW + 1) * WINDOW <= newest


def _by_window(channel: int, rows: Rows) -> Iterator[Due]:
    window = rows["time"] // WINDOW
    cuts = [*np.flatnonzero(np.diff(window, prepend=window[0] - 1)).tolist(), len(rows)]
    for a, b in pairwise(cuts):
        yield Due(channel, int(window[a]), rows[a:b])


def next_piece(due: list[Due]) -> int:
    """Count how many of these fit into one commit."""
    total = 0
    for i, item in enumerate(due[:ITEMS_A_COMMIT]):
        total += len(item.rows)
        if total > READINGS_A_COMMIT:
            return max(1, i)
    return min(len(due), ITEMS_A_COMMIT)


def seal(connection: apsw.Connection, name: ChannelId, due: Due) -> Sealed:
    """Pack, summarise and hash the readings; the part follows those the window has."""
    part = connection.execute(
        "SELECT count(*) FROM window WHERE channel = ? AND window = ?", (due.channel, due.window)
    ).get
    rows = columns_of(due.rows)
    leaf = leaf_hash(name, due.window * WINDOW, part, rows)
    return Sealed(due, part, pack(rows), summarise(rows), leaf)


def write(connection: apsw.Connection, sealed: Sealed, newest: bytes) -> None:
    """Write a chunk, its summary and its share of the rollups, in the caller's transaction."""
    due = sealed.due
    connection.execute("INSERT INTO chunk (data) VALUES (?)", (sealed.data,))
    connection.execute(
        _ADD_WINDOW,
        (
            due.channel,
            due.window,
            sealed.part,
            due.upto,
            connection.last_insert_rowid(),
            *sealed.summary.row(),
            sealed.leaf,
        ),
    )
    for hours, windows in ((1, WINDOWS_AN_HOUR), (24, WINDOWS_A_DAY)):
        _roll_up(connection, (due.channel, hours, due.window // windows), sealed.summary)
    if due.window < meta(connection, "forgotten"):
        connection.execute("INSERT OR IGNORE INTO kept VALUES (?, ?)", (due.channel, due.window))
    write_newest(connection, due.channel, newest)


def _roll_up(connection: apsw.Connection, key: tuple[int, int, int], part: Summary) -> None:
    found = connection.execute(_GET_ROLLUP, key).get
    whole = part if found is None else part | Summary.of_row(found)
    connection.execute(_PUT_ROLLUP, (*key, *whole.row()))
