"""What the server, or the spool while it is away, knows of readings that come late."""

from collections import deque

import numpy as np

from steadybead_collector.stores.flat import Flat
from steadybead_collector.stores.identity import Known
from steadybead_collector.stores.influx import lines, questions
from steadybead_collector.stores.influx.fill import runs
from steadybead_collector.stores.influx.server import Server
from steadybead_collector.stores.tail import Tail, between
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Int64

_JOINED = 6  # windows that lie an hour apart or less are asked about together
_REMEMBERED = 400_000  # readings


def on_server(server: Server, channel: ChannelId, times: Int64) -> Known:
    """Look up ascending times on the server; StoreError."""
    windows = times // WINDOW
    forgotten = np.zeros(len(times), np.bool_)
    stored_times: list[Int64] = []
    raws = []
    for first, last in runs(np.unique(windows).tolist(), gap=_JOINED):
        inside = times[(windows >= first) & (windows <= last)]
        time, raw = questions.taken(server, channel, int(inside[0]), int(inside[-1]) + 1)
        stored_times.append(time)
        raws.append(raw)
        for found in questions.rollups(server, channel, "10m", first, last):
            if found.state >= lines.GOING:
                forgotten |= windows == found.number
    return Known(np.concatenate(stored_times), np.concatenate(raws), forgotten)


class Nearby:
    """What this process has appended lately, for telling repeats while the server is away."""

    def __init__(self) -> None:
        self._tail = Tail()
        self._positions: deque[int] = deque()

    def add(self, position: int, ids: Int64, flat: Flat) -> None:
        """Note an append; the oldest half goes when there is too much."""
        self._tail.add(position, ids, flat.starts, flat.rows)
        self._positions.append(position)
        if self._tail.count() > _REMEMBERED:
            half = [self._positions.popleft() for _ in range((len(self._positions) + 1) // 2)]
            self._tail.drop(half[-1])

    def known(self, number: int, times: Int64) -> Known:
        """Look up ascending times of a channel number."""
        rows = between(self._tail.rows(number), int(times[0]), int(times[-1]) + 1)
        nothing = np.zeros(len(times), np.bool_)
        return Known(rows["time"].copy(), rows["raw"].copy(), nothing)
