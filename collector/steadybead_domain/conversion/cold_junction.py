"""Which cold-junction reading goes with which thermocouple reading."""

from typing import Final

import numpy as np

from steadybead_domain.conversion.carried import Carried, Index, View
from steadybead_domain.readings import Float64, Int64
from steadybead_domain.times import MINUTE

MAX_AGE_US: Final = MINUTE


class ColdJunction:
    """The cold-junction readings of one channel, within one batch and over batches.

    A reading takes the one of its own pack that is nearest in time, in whatever order the pack
    has them; else the latest one of earlier packs that is not later than itself and at most 60 s
    older; else there is none. Bad cold-junction readings are left out by the caller.
    """

    def __init__(self) -> None:
        self._carried = Carried()
        self._pack: Int64 = np.empty(0, np.int64)
        self._view = View(np.empty(0, np.int64), np.empty(0, np.float64), 0)

    def prime(self, time: int, temperature_c: float) -> None:
        """Start from one known reading, as after a restart."""
        self._carried.prime(time, temperature_c)

    def begin(self, time: Int64, temperature_c: Float64, pack: Int64) -> None:
        """Take the good readings [m] of one batch, with packs in ascending order."""
        self._view = self._carried.view(time, temperature_c)
        self._pack = pack

    def at(self, time: Int64, pack: Int64) -> Float64:
        """Give °C for thermocouple readings [n] of the batch; NaN where there is none."""
        view = self._view
        first = np.searchsorted(self._pack, pack, side="left")
        in_pack = np.searchsorted(self._pack, pack, side="right") - first
        place = first + view.before
        single = in_pack == 1
        if not single.all():
            without = np.flatnonzero(in_pack == 0)
            place[without] = view.latest(time[without], place[without], MAX_AGE_US)
            several = np.flatnonzero(in_pack > 1)
            place[several] = view.before + self._nearest(time[several], pack[several])
        if not len(view.value):
            return np.full(len(time), np.nan)
        return np.where(place >= 0, view.value[place], np.nan)

    def _nearest(self, time: Int64, pack: Int64) -> Index:
        """Find the arrival of the same pack that is nearest in time.

        Of two as near the earlier counts, of several at one time the first.
        """
        times = self._view.time[self._view.before :]
        packs, pack_rank = np.unique(self._pack, return_inverse=True)
        ranks, time_rank = np.unique(times, return_inverse=True)
        key = pack_rank * (len(ranks) + 1) + time_rank + 1
        order = np.argsort(key, kind="stable")
        asked = np.searchsorted(packs, pack) * (len(ranks) + 1)
        asked = asked + np.searchsorted(ranks, time, side="right")
        keys = key[order]
        after = np.searchsorted(keys, asked, side="right")
        before = np.searchsorted(keys, keys[np.maximum(after - 1, 0)], side="left")
        left, right = order[before], order[np.minimum(after, len(order) - 1)]
        left_gap = np.where(self._pack[left] == pack, np.abs(time - times[left]), _FAR)
        right_gap = np.where(self._pack[right] == pack, np.abs(times[right] - time), _FAR)
        return np.where(left_gap <= right_gap, left, right)


_FAR = np.iinfo(np.int64).max
