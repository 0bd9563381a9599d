"""Whether the server can be tried now: after a fault the pauses grow, and all can see why."""

import logging
from collections.abc import Callable

from steadybead_collector.event_log import event
from steadybead_collector.mqtt.backoff import Backoff

LOG = logging.getLogger(__name__)


class Line:
    """The state of the line to the server. `clock` gives monotonic seconds."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._backoff = Backoff(first_s=0.2, longest_s=5.0)
        self._again_at = 0.0
        self.fault = ""

    def may_try(self) -> bool:
        """Tell whether the pause after the last fault is over."""
        return not self.fault or self._clock() >= self._again_at

    def fell(self, fault: str) -> None:
        """Note a fault."""
        if not self.fault:
            LOG.warning(
                "%s; readings wait on this machine's disk", fault, extra=event("server_away")
            )
        self.fault = fault
        self._again_at = self._clock() + self._backoff.next()

    def holds(self) -> None:
        """Note a success."""
        if self.fault:
            LOG.info("the readings server answers again", extra=event("server_back"))
        self.fault = ""
        self._backoff.reset()
