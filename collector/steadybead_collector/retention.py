"""Forgetting old readings once a day; their summaries, and what weld records cover, stay."""

import logging
import threading
from collections.abc import Callable, Iterable

from steadybead_domain.ports import ReadingsStore, Span, StoreError
from steadybead_domain.times import DAY

LOG = logging.getLogger(__name__)
_FIRST_AFTER_S = 600.0
_EVERY_S = 86_400.0


class Retention:
    """Keeps `keep_days` of readings. A thread of its own does the work, once a day.

    `spans` gives what must stay at time `now` in µs. Neither store nor clock belong to it.
    """

    def __init__(
        self,
        readings: ReadingsStore,
        spans: Callable[[int], Iterable[Span]],
        keep_days: int,
        clock: Callable[[], int],
    ) -> None:
        self._readings, self._spans, self._clock = readings, spans, clock
        self._keep = keep_days * DAY
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="retention", daemon=True)

    def start(self) -> None:
        """Begin, some minutes from now."""
        self._thread.start()

    def stop(self, timeout: float) -> None:
        """End; a piece under way is finished."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(timeout)

    def forget(self) -> int:
        """Forget now what is too old; give the number of readings. StoreError."""
        now = self._clock()
        gone = self._readings.retain(now - self._keep, list(self._spans(now)))
        if gone:
            LOG.info("%d readings older than %d days were forgotten", gone, self._keep // DAY)
        return gone

    def _run(self) -> None:
        pause = _FIRST_AFTER_S
        while not self._stop.wait(pause):
            pause = _EVERY_S
            try:
                self.forget()
            except StoreError as error:
                LOG.warning("old readings were not forgotten: %s", error)
