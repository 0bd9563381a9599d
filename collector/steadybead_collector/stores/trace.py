"""Reading a channel's readings back, from chunks and from what is not merged yet."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass

import apsw
import numpy as np

from steadybead_collector.stores.identity import Known
from steadybead_collector.stores.packed import Chunk, unpack
from steadybead_collector.stores.recent import merged_upto, unmerged
from steadybead_collector.stores.tail import Rows, between, columns_of
from steadybead_collector.stores.windows import PART_READINGS, WINDOW
from steadybead_domain.readings import Columns, Int64

_PARTS = (
    "SELECT window, upto, count, data FROM window LEFT JOIN chunk ON chunk.id = window.chunk"
    " WHERE channel = ? AND window BETWEEN ? AND ? ORDER BY window, part"
)


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One moment of one channel: a read transaction and the rows that may not be merged in it."""

    connection: apsw.Connection
    channel: int
    tail: Rows

    def merged_upto(self, rows: Rows) -> dict[int, int]:
        """Give the merged position of each window that these rows touch and that has a chunk."""
        found = {}
        for window in np.unique(rows["time"] // WINDOW).tolist():
            upto = merged_upto(self.connection, self.channel, window)
            if upto is not None:
                found[window] = upto
        return found

    def tail_between(self, start: int, end: int) -> Columns:
        """Give the readings in [start, end) that no chunk holds."""
        rows = between(self.tail, start, end)
        return columns_of(unmerged(rows, self.merged_upto(rows)))


def read_on(view: View, start: int, end: int) -> tuple[Columns, int]:
    """Give readings from `start` on, some 65 536 if there are so many, and where to go on."""
    chunks: list[bytes] = []
    upto: dict[int, int] = {}
    taken, stop, ordered = 0, end, True
    bounds = (view.channel, start // WINDOW, (end - 1) // WINDOW)
    with closing(view.connection.execute(_PARTS, bounds)) as parts:
        for window, merged, count, data in parts:
            if window in upto:
                ordered = False
            elif taken >= PART_READINGS:
                stop = window * WINDOW
                break
            upto[window] = max(merged, upto.get(window, 0))
            if data is not None:
                chunks.append(data)
                taken += count
    rows = unpack(chunks, start, stop)
    if len(view.tail) and len(waiting := between(view.tail, start, stop)):
        rows = Columns.concat((rows, columns_of(unmerged(waiting, upto))))
        ordered = False
    return rows if ordered else in_time_order(rows), stop


def slices(rows: Columns) -> Iterator[Columns]:
    """Cut into parts of bounded size, none of them empty."""
    if 0 < len(rows) <= PART_READINGS:
        yield rows
        return
    for i in range(0, len(rows), PART_READINGS):
        yield rows.take(slice(i, i + PART_READINGS))


def in_time_order(rows: Columns) -> Columns:
    """Sort by time where it is needed."""
    if (rows.time[1:] > rows.time[:-1]).all():
        return rows
    return rows.take(np.argsort(rows.time, kind="stable"))


def known(view: View, times: Int64) -> Known:
    """Look up what is stored in the windows of these ascending times."""
    windows = times // WINDOW
    found = [(view.tail["time"], view.tail["raw"])]
    forgotten = np.zeros(len(times), np.bool_)
    for window in np.unique(windows).tolist():
        parts = view.connection.execute(_PARTS, (view.channel, window, window))
        for _, _, _, data in parts:
            if data is None:
                forgotten |= windows == window
            else:
                chunk = Chunk(data)
                found.append((chunk.column("time"), chunk.column("raw")))
    time = np.concatenate([t for t, _ in found])
    order = np.argsort(time, kind="stable")
    return Known(time[order], np.concatenate([r for _, r in found])[order], forgotten)
