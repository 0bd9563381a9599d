"""How long after its time a station's reading arrives, so that diagnosis waits just as long."""

from collections import deque

from steadybead_domain.times import MINUTE, SECOND

USUAL_MOST = 5 * SECOND
PERSISTENT_MOST = 5 * MINUTE
_SPAN = 30 * SECOND
_MOST_SAMPLES = 600


class Punctuality:
    """Learns the delay between readings and their receipt, from live batches only.

    A sender that packs a second of readings, or whose clock is slow, is waited for. A single late
    delivery is waited for up to USUAL_MOST; a delay that every batch of the last half minute had
    (a slow clock), up to PERSISTENT_MOST.
    """

    def __init__(self) -> None:
        self._delays: deque[tuple[int, int]] = deque(maxlen=_MOST_SAMPLES)

    def heard(self, received: int, oldest: int) -> None:
        """Note that a batch received then had a reading as old as that; µs."""
        self._delays.append((received, max(0, received - oldest)))
        while self._delays[0][0] < received - _SPAN:
            self._delays.popleft()

    def allowance(self) -> int:
        """Give how long to wait for this station's readings, in µs."""
        if not self._delays:
            return 0
        delays = [delay for _, delay in self._delays]
        usual, persistent = max(delays), min(delays)
        return max(min(usual, USUAL_MOST), min(persistent, PERSISTENT_MOST))
