"""Replay of what appends brought, from the rows that announced them."""

from collections.abc import Iterator

import numpy as np

from steadybead_collector.stores.influx import questions
from steadybead_collector.stores.influx.server import Server
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Batch, Columns

_APPENDS = 64


def replay(server: Server, position: int, place: str) -> Iterator[tuple[int, Batch]]:
    """Walk the appends after a position, of all producers, at the stations that `place` picks."""
    while True:
        appends = questions.appends_after(server, position, _APPENDS)
        if not appends:
            return
        bounds = (min(a[2] for a in appends), max(a[3] for a in appends) + 1)
        found = _by_position(server, bounds, (appends[0][0], appends[-1][0]), place)
        for at, received in {a[0]: a[1] for a in appends}.items():
            if at in found:
                yield at, Batch(received, found[at])
        position = appends[-1][0]


def _by_position(
    server: Server, bounds: tuple[int, int], positions: tuple[int, int], place: str
) -> dict[int, dict[ChannelId, Columns]]:
    found: dict[int, dict[ChannelId, Columns]] = {}
    for channel, rows, seq in questions.appended(server, bounds, positions, place):
        for at in np.unique(seq).tolist():
            found.setdefault(at, {})[channel] = rows.take(seq == at)
    return found
