"""Readings of one channel that later ones of another, or of itself, refer back to."""

from typing import Final

import numpy as np
import numpy.typing as npt

from steadybead_domain.readings import Float64, Int64

KEPT: Final = 512
Index = npt.NDArray[np.intp]


class Carried:
    """The last `KEPT` readings of a channel in order of arrival, found again by their time.

    It answers: of all readings that had arrived before a given one and were among the last
    `KEPT` of them, which has the latest time that is not after a limit and not older than an
    age? Of several at one time the first counts, as in the stores. The answer depends on the
    order of arrival alone, never on how arrivals were batched.
    """

    def __init__(self) -> None:
        self._time: Int64 = np.empty(0, np.int64)
        self._value: Float64 = np.empty(0, np.float64)

    def __len__(self) -> int:
        """Count the readings kept."""
        return len(self._time)

    def prime(self, time: int, value: float) -> None:
        """Start from one known reading, as after a restart."""
        self._time = np.array([time], np.int64)
        self._value = np.array([value], np.float64)

    def view(self, time: Int64, value: Float64) -> "View":
        """Add arrivals [n], in order of arrival, and look from each of them, or from others."""
        view = View(
            np.concatenate([self._time, time]), np.concatenate([self._value, value]), len(self)
        )
        self._time, self._value = view.time[-KEPT:], view.value[-KEPT:]
        return view


class View:
    """Carried readings together with the arrivals of one batch; `time`, `value` [m]."""

    def __init__(self, time: Int64, value: Float64, before: int) -> None:
        self.time, self.value, self.before = time, value, before
        self._ascending = len(time) < 2 or bool((time[1:] > time[:-1]).all())

    def latest(self, not_after: Int64, arrived: Index, max_age_us: int) -> Index:
        """Find, for each of n questions, the place in `time` of the answer, or -1.

        `not_after` int64 [n] µs; `arrived` [n]: only the places before it had arrived.
        """
        times, order = self.time, None
        if not self._ascending:
            times, order = np.unique(self.time, return_index=True)
        rank = np.searchsorted(times, not_after, side="right") - 1
        place = rank if order is None else order[rank]
        oldest = not_after - max_age_us
        if rank.size and int(rank.min()) >= 0:
            known = (place < arrived) & (place >= arrived - KEPT) & (times[rank] >= oldest)
            if known.all():
                return place
        return self._walk(times, order, rank, arrived, oldest)

    def _walk(
        self, times: Int64, order: Index | None, rank: Index, arrived: Index, oldest: Int64
    ) -> Index:
        """Step back in time from `rank` past readings that had not arrived yet."""
        answer = np.full(rank.shape, -1, np.intp)
        open_ = np.flatnonzero(rank >= 0)
        at = rank[open_]
        while open_.size:
            young = times[at] >= oldest[open_]
            open_, at = open_[young], at[young]
            place = at if order is None else order[at]
            known = (place < arrived[open_]) & (place >= arrived[open_] - KEPT)
            answer[open_[known]] = place[known]
            going = ~known & (at > 0)
            open_, at = open_[going], at[going] - 1
        return answer
