"""Which of the batches that wait can go to the server in one request, and how."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from steadybead_collector.stores.identity import NEVER, in_order
from steadybead_collector.stores.influx import lines
from steadybead_collector.stores.influx.channels import Channels
from steadybead_collector.stores.influx.rollups import Rollups
from steadybead_collector.stores.influx.server import Server
from steadybead_collector.stores.influx.spool import Waiting
from steadybead_collector.stores.influx.writing import announce

if TYPE_CHECKING:
    from steadybead_domain.ids import ChannelId

MOST_BATCHES = 200
_MOST_READINGS = 5_000


def in_a_row(waiting: Iterable[Waiting], channels: Channels) -> list[Waiting]:
    """Give the first batches of which every reading is later than all before it: none is known.

    A batch that may bring repeats or conflicts ends the row, and is judged on its own.
    """
    found: list[Waiting] = []
    last: dict[ChannelId, int] = {}
    count = 0
    for item in waiting:
        flat = item.flat
        before = np.array([last.get(name, NEVER) for name in flat.names], np.int64)
        newest = np.maximum(channels.times(flat.names, stored=True), before)
        count += len(flat)
        if (found and count > _MOST_READINGS) or not in_order(flat, newest).all():
            break
        found.append(item)
        last.update(zip(flat.names, flat.rows.time[flat.starts[1:] - 1].tolist(), strict=True))
    return found


def write_row(server: Server, producer: str, row: Sequence[Waiting], rollups: Rollups) -> None:
    """Announce all, then write all, each under its own position; StoreError."""
    announced = (lines.append_line(producer, w.position, w.received, w.flat) for w in row)
    marks = dict.fromkeys(mark for w in row for mark in rollups.marks(w.flat))
    announce(server, "\n".join(announced), list(marks))
    for item in row:
        rollups.touch(item.flat, item.received)
    written = (line for w in row for line in lines.reading_lines(w.flat, w.position))
    server.write("\n".join(written))
