"""What the writer remembers of each channel: its number and its newest readings."""

from collections.abc import Iterable, Sequence

import numpy as np

from steadybead_collector.stores.flat import Flat
from steadybead_collector.stores.newest import Newest
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns, Int64, Reading


class Channels:
    """Newest readings by channel: all that is durable, and what of it the server has.

    `floors`: where the newest windows of a channel were forgotten, nothing before their end counts
    as new without a look. Not safe for threads.
    """

    def __init__(
        self,
        found: Iterable[tuple[ChannelId, Reading]],
        floors: Iterable[tuple[ChannelId, int]],
    ) -> None:
        self._ids: dict[ChannelId, int] = {}
        self._newest = Newest()
        self._stored = Newest()
        self._floors = dict(floors)
        one = np.array([0, 1], np.int64)
        for name, reading in found:
            self.see(Flat((name,), one, Columns.of([reading])), stored=True)

    def names(self) -> list[ChannelId]:
        """Name the channels that have, or had, readings."""
        return list(dict.fromkeys((*self._ids, *self._floors)))

    def number(self, name: ChannelId) -> int:
        """Give a channel its number; a new one if it has none."""
        number = self._ids.setdefault(name, len(self._ids))
        self._newest.reserve(number)
        self._stored.reserve(number)
        return number

    def numbers(self, names: Sequence[ChannelId]) -> Int64:
        """Give the numbers of channels, int64 [k]."""
        return np.array([self.number(name) for name in names], np.int64)

    def times(self, names: Sequence[ChannelId], *, stored: bool) -> Int64:
        """Give the newest time of each channel that is durable, or `stored` on the server."""
        of = self._stored if stored else self._newest
        times = of.times(self.numbers(names)).copy()
        if self._floors:
            floors = [self._floors.get(name, int(t)) for name, t in zip(names, times, strict=True)]
            times = np.maximum(times, np.array(floors, np.int64))
        return times

    def see(self, flat: Flat, *, stored: bool) -> None:
        """Note readings that ascend inside each channel."""
        if not len(flat):
            return
        ids = self.numbers(flat.names)
        self._newest.see(ids, flat.starts, flat.rows)
        if stored:
            self._stored.see(ids, flat.starts, flat.rows)

    def reading(self, name: ChannelId) -> Reading | None:
        """Give the newest reading of a channel, None if there is none."""
        number = self._ids.get(name)
        return None if number is None else self._newest.reading(number)

    def forgot(self, name: ChannelId, end: int) -> None:
        """Note that windows up to `end` were forgotten."""
        self._floors[name] = max(end, self._floors.get(name, end))
