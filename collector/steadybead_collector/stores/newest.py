"""The newest reading of every channel, by channel number."""

from collections.abc import Iterable

import numpy as np

from steadybead_collector.stores.identity import NEVER
from steadybead_domain.readings import Columns, Int64, Reading

_FIELDS = ("time", "value", "raw", "quality", "reason", "plant")


class Newest:
    """Columns indexed by channel number; `NEVER` as time where there is no reading."""

    def __init__(self) -> None:
        self._columns = _blank(64)

    def reserve(self, channel: int) -> None:
        """Make room for a channel number."""
        have = len(self._columns)
        if channel >= have:
            more = _blank(max(channel + 1, 2 * have) - have)
            self._columns = Columns.concat((self._columns, more))

    def times(self, ids: Int64) -> Int64:
        """Give the newest time of each channel, int64 [k]."""
        return self._columns.time[ids]

    def see(self, ids: Int64, starts: Int64, rows: Columns) -> None:
        """Take note of readings that ascend inside each channel."""
        last = starts[1:] - 1
        newer = rows.time[last] > self._columns.time[ids]
        to, last = ids[newer], last[newer]
        for field in _FIELDS:
            getattr(self._columns, field)[to] = getattr(rows, field)[last]

    def readings(self, ids: Iterable[int]) -> list[Reading | None]:
        """Give the newest reading of each channel number, None where there is none."""
        columns = self._columns
        return [
            columns.row(i) if i < len(columns) and columns.time[i] != NEVER else None for i in ids
        ]


def _blank(n: int) -> Columns:
    return Columns(
        np.full(n, NEVER),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n, np.uint8),
        np.zeros(n, np.uint8),
        np.zeros(n, np.uint32),
    )
