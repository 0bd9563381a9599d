"""Readings in memory by channel, in ascending time, each with its journal position."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from steadybead_domain.readings import Columns, Int64

ROW = np.dtype(
    [
        ("time", np.int64),
        ("position", np.int64),
        ("value", np.float64),
        ("raw", np.float64),
        ("plant", np.uint32),
        ("quality", np.uint8),
        ("reason", np.uint8),
    ],
    align=True,
)
Rows = npt.NDArray[np.void]
_NO_ROWS: Rows = np.empty(0, ROW)
_WAITING_READINGS = 500_000
_DEALT_BY_HOUSEKEEPING = 20_000
_WAITING_APPENDS = 64


def columns_of(rows: Rows) -> Columns:
    """Give rows as columns."""
    return Columns(
        rows["time"].copy(),
        rows["value"].copy(),
        rows["raw"].copy(),
        rows["quality"].copy(),
        rows["reason"].copy(),
        rows["plant"].copy(),
    )


def between(rows: Rows, start: int, end: int) -> Rows:
    """Cut ascending rows to [start, end)."""
    low, high = np.searchsorted(rows["time"], (start, end))
    return rows[low:high]


@dataclass(slots=True)
class Tail:
    """Rows by channel number. Not safe for threads: the owner holds a lock.

    `add` only notes the arrays; they are dealt out to the channels when a channel is asked for
    while many appends wait, or when many readings do.
    """

    by_channel: dict[int, list[Rows]] = field(default_factory=dict)
    waiting: list[tuple[int, Int64, Int64, Columns]] = field(default_factory=list)
    waiting_count: int = 0

    def add(self, position: int, ids: Int64, starts: Int64, rows: Columns) -> None:
        """Take the readings of one append: channel `ids[i]` owns `starts[i]:starts[i + 1]`."""
        self.waiting.append((position, ids, starts, rows))
        self.waiting_count += len(rows)
        if self.waiting_count >= _WAITING_READINGS:
            self.deal()

    def rows(self, channel: int) -> Rows:
        """Give the rows of a channel in ascending time; not to be changed."""
        if len(self.waiting) > _WAITING_APPENDS:
            self.deal()
        parts = self.by_channel.get(channel, [])
        if len(parts) > 1:
            parts[:] = [join_rows(parts)]
        newer = [
            found for entry in self.waiting if (found := _of_channel(channel, *entry)) is not None
        ]
        if newer:
            return join_rows([*parts, *newer])
        return parts[0] if parts else _NO_ROWS

    def channels(self) -> list[int]:
        """Name the channels that have rows."""
        self.deal()
        return [channel for channel, parts in self.by_channel.items() if parts]

    def parts(self) -> dict[int, list[Rows]]:
        """Give the rows by channel as they lie, in parts that each ascend in time."""
        self.deal()
        return {channel: list(parts) for channel, parts in self.by_channel.items() if parts}

    def count(self) -> int:
        """Count the readings."""
        dealt = sum(len(rows) for parts in self.by_channel.values() for rows in parts)
        return dealt + self.waiting_count

    def remove(self, channel: int, start: int, end: int, upto: int) -> None:
        """Drop the rows of a channel in [start, end) that came by position `upto`."""
        self.deal()
        rows = self.rows(channel)
        low, high = np.searchsorted(rows["time"], (start, end))
        inside = rows[low:high]
        later = inside[inside["position"] > upto]
        if low == 0 and not len(later):  # most often: nothing is copied, however much waits
            self.replace(channel, _unburdened(rows[high:]))
        else:
            self.replace(channel, join_rows([rows[:low], later, rows[high:]]))

    def drop(self, upto: int) -> None:
        """Drop all rows that came by position `upto`."""
        for channel in self.channels():
            rows = self.rows(channel)
            if rows["position"].min() <= upto:
                self.replace(channel, rows[rows["position"] > upto])

    def replace(self, channel: int, rows: Rows) -> None:
        """Put these rows in place of what the channel had."""
        self.deal()
        if len(rows):
            self.by_channel[channel] = [rows]
        else:
            self.by_channel.pop(channel, None)

    def tidy(self) -> None:
        """Deal out what waits if it is worth it; housekeeping calls this now and then."""
        if self.waiting_count >= _DEALT_BY_HOUSEKEEPING:
            self.deal()

    def deal(self) -> None:
        """Deal the waiting readings out to their channels."""
        if not self.waiting:
            return
        owner = np.concatenate([np.repeat(ids, np.diff(st)) for _, ids, st, _ in self.waiting])
        table = np.empty(self.waiting_count, ROW)
        at = 0
        for position, _, _, rows in self.waiting:
            _fill(table[at : at + len(rows)], position, rows)
            at += len(rows)
        self.waiting, self.waiting_count = [], 0
        order = np.argsort(owner, kind="stable")
        owner, table = owner[order], table[order]
        starts = np.flatnonzero(np.diff(owner, prepend=-1))
        bounds = [*starts.tolist(), len(owner)]
        for channel, (a, b) in zip(owner[starts].tolist(), pairwise(bounds), strict=True):
            _push(self.by_channel.setdefault(channel, []), join_rows([table[a:b]]))


def _of_channel(
    channel: int, position: int, ids: Int64, starts: Int64, rows: Columns
) -> Rows | None:
    place = np.flatnonzero(ids == channel)
    if not len(place):
        return None
    found = rows.take(slice(int(starts[place[0]]), int(starts[place[0] + 1])))
    table = np.empty(len(found), ROW)
    _fill(table, position, found)
    return table


def _fill(table: Rows, position: int, rows: Columns) -> None:
    table["time"] = rows.time
    table["position"] = position
    table["value"] = rows.value
    table["raw"] = rows.raw
    table["plant"] = rows.plant
    table["quality"] = rows.quality
    table["reason"] = rows.reason


def _unburdened(rows: Rows) -> Rows:
    """Copy a view that keeps much more memory alive than it shows."""
    base = rows.base
    burdened = isinstance(base, np.ndarray) and len(base) > 2 * len(rows)
    return rows.copy() if burdened else rows


def _push(parts: list[Rows], rows: Rows) -> None:
    """Append a part; join the last two while they are of like size."""
    parts.append(rows)
    while len(parts) > 1 and len(parts[-1]) * 2 > len(parts[-2]):
        last = parts.pop()
        parts[-1] = join_rows([parts[-1], last])


def join_rows(parts: Sequence[Rows]) -> Rows:
    """Join parts into ascending time; numpy's own joining of records is slow."""
    joined = np.empty(sum(map(len, parts)), ROW)
    at = 0
    for part in parts:
        joined[at : at + len(part)] = part
        at += len(part)
    time = joined["time"]
    if (time[1:] > time[:-1]).all():
        return joined
    return joined[np.argsort(time, kind="stable")]
