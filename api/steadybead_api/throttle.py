"""Slows down those who guess: after some wrong tries each next one has to wait longer."""

import threading
from collections import OrderedDict
from dataclasses import dataclass

from steadybead_domain.times import SECOND

FREE_TRIES = 4
LONGEST_WAIT_S = 900
MOST_KEYS = 10_000


@dataclass(slots=True)
class _Tries:
    wrong: int = 0
    until: int = 0


class Throttle:
    """Counts wrong tries by key; `now` in µs is passed in. It forgets when the process ends.

    The wait doubles from 1 s after FREE_TRIES wrong ones, up to LONGEST_WAIT_S. Of many keys the
    one that was silent longest is forgotten first.
    """

    def __init__(self, free_tries: int = FREE_TRIES) -> None:
        self._free = free_tries
        self._tries: OrderedDict[str, _Tries] = OrderedDict()
        self._lock = threading.Lock()

    def wait_s(self, key: str, now: int) -> int:
        """Give how many whole seconds the next try has to wait; 0: it may come now."""
        with self._lock:
            tries = self._tries.get(key)
            left = 0 if tries is None else tries.until - now
            return min(LONGEST_WAIT_S, max(0, -(-left // SECOND)))

    def wrong(self, key: str, now: int) -> None:
        """Note a wrong try."""
        with self._lock:
            tries = self._tries.setdefault(key, _Tries())
            self._tries.move_to_end(key)
            tries.wrong += 1
            over = tries.wrong - self._free
            if over > 0:
                wait_s = min(LONGEST_WAIT_S, 2 ** min(over - 1, 20))
                tries.until = now + wait_s * SECOND
            while len(self._tries) > MOST_KEYS:
                self._tries.popitem(last=False)

    def right(self, key: str) -> None:
        """Forget the wrong tries of a key."""
        with self._lock:
            self._tries.pop(key, None)
