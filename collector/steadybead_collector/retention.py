"""Forgetting old readings and refusals once a day; summaries, and what weld records cover, stay."""

import logging
import threading
from collections.abc import Callable, Iterable
from typing import Protocol

from steadybead_collector.event_log import event
from steadybead_domain.ports import ReadingsStore, Span, StoreError
from steadybead_domain.times import DAY

LOG = logging.getLogger(__name__)
_FIRST_AFTER_S = 600.0
_EVERY_S = 86_400.0


class Refusals(Protocol):
    """Where refusals are kept; see `records.refusals.Quarantine`."""

    def forget(self, before: int) -> int:
        """Drop what came last before a time; give the number of rows."""


class Retention:
    """Keeps `keep_days` of readings, and refusals for `refusal_days`.

    A thread of its own does the work, once a day; None keeps for ever. `spans` gives what must
    stay at time `now` in µs. Neither stores nor clock belong to it.
    """

    def __init__(
        self,
        readings: ReadingsStore,
        spans: Callable[[int], Iterable[Span]],
        keep_days: int | None,
        clock: Callable[[], int],
        refusals: Refusals | None = None,
        refusal_days: int | None = None,
    ) -> None:
        self._readings, self._spans, self._clock = readings, spans, clock
        self._keep_days = keep_days
        self._refusals, self._refusal_days = refusals, refusal_days
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
        if self._keep_days is None:
            return 0
        now, days = self._clock(), self._keep_days
        gone = self._readings.retain(now - days * DAY, list(self._spans(now)))
        if gone:
            told = event("readings_forgotten", count=gone, days=days)
            LOG.info("%d readings older than %d days were forgotten", gone, days, extra=told)
        return gone

    def forget_refusals(self) -> int:
        """Forget now what was refused too long ago; give the number of rows. StoreError."""
        if self._refusals is None or self._refusal_days is None:
            return 0
        days = self._refusal_days
        gone = self._refusals.forget(self._clock() - days * DAY)
        if gone:
            told = event("refusals_forgotten", count=gone, days=days)
            LOG.info("%d refusals older than %d days were forgotten", gone, days, extra=told)
        return gone

    def _run(self) -> None:
        pause = _FIRST_AFTER_S
        while not self._stop.wait(pause):
            pause = _EVERY_S
            try:
                self.forget()
                self.forget_refusals()
            except StoreError as error:
                LOG.warning("what is old was not forgotten: %s", error)
