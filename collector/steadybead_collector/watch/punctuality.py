"""How long after its time a station's reading arrives, so that diagnosis waits just as long."""

from collections import deque

from steadybead_domain.times import MINUTE, SECOND

USUAL_MOST = 5 * SECOND
PERSISTENT_MOST = 5 * MINUTE
_SPAN = 30 * SECOND


class Punctuality:
    """Learns the delay between readings and their receipt, from live batches only.

    A sender that packs a second of readings, or whose clock is slow, is waited for. A single late
    delivery is waited for up to USUAL_MOST; a delay that every batch of the last half minute had
    (a slow clock), up to PERSISTENT_MOST.
    """

    def __init__(self) -> None:
        self._seconds: deque[tuple[int, int, int]] = deque()  # since when, least, most
        self._allowance = 0
        self._offset: tuple[int, int] | None = None  # until when it holds, least offset

    def heard(self, received: int, oldest: int, newest: int | None = None) -> None:
        """Note that a batch received then had readings from `oldest` to `newest`; µs."""
        offset, last = received - (oldest if newest is None else newest), self._offset
        if last is None or received >= last[0] or offset < last[1]:
            self._offset = (received + _SPAN, offset)
        delay = max(0, received - oldest)
        seconds = self._seconds
        if seconds and received - seconds[-1][0] < SECOND:
            since, least, most = seconds.pop()
            seconds.append((since, min(least, delay), max(most, delay)))
        else:
            seconds.append((received, delay, delay))
        while seconds[0][0] < received - _SPAN:
            seconds.popleft()
        least = min(entry[1] for entry in seconds)
        most = max(entry[2] for entry in seconds)
        self._allowance = max(min(most, USUAL_MOST), min(least, PERSISTENT_MOST))

    def offset(self, now: int) -> int | None:
        """Give what the clock is off by, plus the fastest transport, in µs; None if long silent.

        It is the least distance of a batch's newest reading from its receipt in half a minute.
        """
        last = self._offset
        return None if last is None or now >= last[0] + _SPAN else last[1]

    def allowance(self) -> int:
        """Give how long to wait for this station's readings, in µs."""
        return self._allowance
