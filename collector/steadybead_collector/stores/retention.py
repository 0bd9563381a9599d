"""Forgetting readings whose time is over; summaries, rollups and leaf hashes stay."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import apsw
import numpy as np

from steadybead_collector.stores.journal import meta, set_meta
from steadybead_collector.stores.windows import WINDOW, forgettable
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import Span

_CHUNKS_A_COMMIT = 128
_CANDIDATES = (
    "SELECT window, chunk, count FROM window WHERE channel = :channel AND window < :limit"
    " AND chunk IS NOT NULL AND (window >= :done OR window IN"
    " (SELECT window FROM kept WHERE channel = :channel))"
)


@dataclass(frozen=True, slots=True)
class Old:
    """A chunk whose window ended long ago; `drop` unless a kept span touches it."""

    channel: int
    window: int
    chunk: int
    count: int
    drop: bool


def old_chunks(
    connection: apsw.Connection, channel: int, name: ChannelId, before: int, keep: Sequence[Span]
) -> list[Old]:
    """List the chunks of one channel whose windows ended by `before`."""
    asked = {
        "channel": channel,
        "limit": before // WINDOW,
        "done": meta(connection, "forgotten"),
    }
    rows: list[Any] = connection.execute(_CANDIDATES, asked).fetchall()
    windows = np.array([row[0] for row in rows], np.int64)
    drop = forgettable(windows, before, [s for s in keep if s.station == name.station_id])
    return [
        Old(channel, window, chunk, count, bool(gone))
        for (window, chunk, count), gone in zip(rows, drop, strict=True)
    ]


def pieces(old: Sequence[Old]) -> Iterator[Sequence[Old]]:
    """Cut the work into short commits."""
    for i in range(0, len(old), _CHUNKS_A_COMMIT):
        yield old[i : i + _CHUNKS_A_COMMIT]


def forget(connection: apsw.Connection, old: Sequence[Old]) -> int:
    """Drop or mark one piece in the caller's transaction; give the number of readings dropped."""
    for item in old:
        place = (item.channel, item.window)
        if item.drop:
            connection.execute("DELETE FROM chunk WHERE id = ?", (item.chunk,))
            connection.execute(
                "UPDATE window SET chunk = NULL WHERE channel = ? AND window = ? AND chunk = ?",
                (*place, item.chunk),
            )
            connection.execute("DELETE FROM kept WHERE channel = ? AND window = ?", place)
        else:
            connection.execute("INSERT OR IGNORE INTO kept VALUES (?, ?)", place)
    return sum(item.count for item in old if item.drop)


def finish(connection: apsw.Connection, before: int) -> None:
    """Note how far all windows were looked at."""
    done = max(before // WINDOW, meta(connection, "forgotten"))
    set_meta(connection, "forgotten", done)
