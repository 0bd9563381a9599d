"""Hears of alarms, decides what is told to whom, puts it on record, and hands it to couriers."""

import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from steadybead_collector.notify.courier import Courier
from steadybead_collector.notify.senders import Sender
from steadybead_collector.records.notices import NoticeRecords, Sent
from steadybead_domain.alarms.model import Alarm
from steadybead_domain.alarms.notices import Router
from steadybead_domain.ids import StationId
from steadybead_domain.ports import StoreError
from steadybead_domain.times import DAY

LOG = logging.getLogger(__name__)
TURN_S = 0.5
REMEMBERED = 31 * DAY
_FORGET_EVERY = DAY // 24


@dataclass(frozen=True, slots=True)
class ReceiverStatus:
    """How one receiver is doing since the start; `fault` is empty while it takes notices."""

    name: str
    waiting: int
    delivered: int
    failed: int
    fault: str


class Notifier:
    """Owns a thread that decides and one for each receiver. The collector only calls `hear`.

    `hear` keeps the newest alarms of a station and returns at once. A notice is put on record
    before it is sent, and what was told is read back from there at the start, so that a restart
    neither forgets nor repeats; only if the process dies between a receiver's yes and the note of
    it does the same notice go out again.
    """

    def __init__(
        self,
        router: Router,
        senders: Mapping[str, Sender],
        records: NoticeRecords,
        clock: Callable[[], int],
    ) -> None:
        self._router, self._records, self._clock = router, records, clock
        self._couriers = {
            name: Courier(name, sender, records, clock) for name, sender in senders.items()
        }
        self._alarms: dict[StationId, Sequence[Alarm]] = {}
        self._unkept: list[Sent] = []
        self._forgotten_at = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="notifier", daemon=True)

    def hear(self, station: StationId, alarms: Sequence[Alarm]) -> None:
        """Take a station's alarms as they stand now; from any thread."""
        self._alarms[station] = alarms

    def open(self) -> None:
        """Read what was told and what waits. StoreError."""
        for notice in self._records.since(self._clock() - REMEMBERED):
            self._router.remember(notice)
        for sent in self._records.waiting():
            courier = self._couriers.get(sent.notice.receiver)
            if courier is not None and self._router.owns(sent.notice):
                courier.take(sent)

    def start(self) -> None:
        """Open, then work until stopped. StoreError."""
        self.open()
        self._thread.start()
        for courier in self._couriers.values():
            courier.start()

    def stop(self, timeout: float = 2.0) -> None:
        """Stop within `timeout` s in all; what was not delivered waits on record."""
        end = time.monotonic() + timeout
        self._stop.set()
        for courier in self._couriers.values():
            courier.stop(0.0)
        if self._thread.ident is not None:
            self._thread.join(max(end - time.monotonic(), 0.0))
        for courier in self._couriers.values():
            courier.stop(max(end - time.monotonic(), 0.0))

    def status(self) -> list[ReceiverStatus]:
        """Tell how each receiver is doing; from any thread."""
        return [
            ReceiverStatus(c.name, c.waiting, c.delivered, c.failed, c.fault)
            for c in self._couriers.values()
        ]

    def turn(self, now: int) -> None:
        """Decide once, keep, hand over. StoreError leaves what was decided to the next turn."""
        if not self._unkept:
            busy = {c.name for c in self._couriers.values() if c.waiting}
            alarms = [a for standing in tuple(self._alarms.values()) for a in standing]
            self._unkept = [Sent(n) for n in self._router.decide(now, alarms, busy)]
        if self._unkept:
            self._records.add([s.notice for s in self._unkept])
            for sent in self._unkept:
                self._couriers[sent.notice.receiver].take(sent)
            self._unkept = []
        if not 0 <= now - self._forgotten_at < _FORGET_EVERY:
            self._forgotten_at = now
            self._router.forget(now - REMEMBERED)

    def deliver(self) -> None:
        """Let every courier do one turn in this thread; for tests on virtual time. StoreError."""
        for courier in self._couriers.values():
            courier.turn()

    def _work(self) -> None:
        while not self._stop.wait(TURN_S):
            try:
                self.turn(self._clock())
            except StoreError as error:
                LOG.warning("notices: %s", error)
            except Exception:
                LOG.exception("the notifier stumbled; it goes on")
