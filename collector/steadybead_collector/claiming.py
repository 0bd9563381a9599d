"""Holding the stations of a plant file, so that no other collector watches them meanwhile."""

import hashlib
import logging
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from steadybead_collector.event_log import event
from steadybead_collector.mqtt.address import kept_client_id
from steadybead_domain.errors import PlainError
from steadybead_domain.ids import StationId
from steadybead_domain.ports import StoreError

LOG = logging.getLogger(__name__)
RENEW_EVERY_S = 4.0
WAIT_FOR_S = 20.0
_LOOK_EVERY_S = 0.5


class ClaimStore(Protocol):
    """Where claims are kept; see `records.claims.Claims`."""

    def take(self, stations: Sequence[StationId], holder: str, now: int) -> list[StationId]:
        """Claim all or none; give what others hold."""

    def renew(self, stations: Sequence[StationId], holder: str, now: int) -> bool:
        """Hold on; False if a station is no longer ours."""

    def release(self, holder: str) -> None:
        """Let go."""


class Claiming:
    """Claims stations and renews the claims in a thread of its own.

    The holder is the session at the broker: who takes over a dead collector's session takes over
    its stations at once, and two who have the same session cannot both be connected.
    """

    def __init__(
        self,
        claims: ClaimStore,
        stations: Sequence[StationId],
        data_dir: Path,
        clock: Callable[[], int],
    ) -> None:
        self._claims, self._stations, self._clock = claims, list(stations), clock
        self._holder = hashlib.sha256(kept_client_id(data_dir).encode()).hexdigest()[:16]
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._renew, name="claims", daemon=True)

    def start(self, wait_for_s: float = WAIT_FOR_S) -> None:
        """Claim, waiting for a collector that has just died; PlainError if another one lives."""
        looks = max(1, int(wait_for_s / _LOOK_EVERY_S))
        for left in range(looks, -1, -1):
            theirs = self._claims.take(self._stations, self._holder, self._clock())
            if not theirs:
                self._thread.start()
                return
            if left:
                self._stop.wait(_LOOK_EVERY_S)
        names = ", ".join(sorted(str(station) for station in theirs)[:5])
        raise PlainError(
            f"another collector watches {names}: stop it, or give each collector stations of its"
            " own ([mqtt] topics)"
        )

    def stop(self, timeout: float) -> None:
        """Let go, so that another one need not wait."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(timeout)
            try:
                self._claims.release(self._holder)
            except StoreError as error:
                LOG.warning("claims were not let go, they lapse: %s", error)

    def _renew(self) -> None:
        while not self._stop.wait(RENEW_EVERY_S):
            try:
                now = self._clock()
                if not self._claims.renew(self._stations, self._holder, now):
                    theirs = self._claims.take(self._stations, self._holder, now)
                    if theirs:
                        LOG.error(
                            "another collector has taken %s",
                            ", ".join(map(str, theirs)),
                            extra=event("stations_taken"),
                        )
            except StoreError as error:
                LOG.warning("claims could not be renewed: %s", error)
