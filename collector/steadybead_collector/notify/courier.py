"""One receiver's courier: delivers what waits for it, one notice after the other."""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from steadybead_collector.event_log import event
from steadybead_collector.notify.senders import DeliveryError, Sender
from steadybead_collector.records.notices import NoticeRecords, Sent
from steadybead_domain.alarms.delivery import Attempt, Outcome, gives_up, next_attempt
from steadybead_domain.alarms.notices import Notice
from steadybead_domain.ports import StoreError
from steadybead_domain.times import SECOND

LOG = logging.getLogger(__name__)
TURN_S = 0.5


@dataclass(slots=True)
class Waiting:
    """A notice on its way, with the attempts so far; `unkept`: outcomes not on record yet."""

    notice: Notice
    attempts: list[Attempt] = field(default_factory=list)
    unkept: list[Attempt] = field(default_factory=list)


class Courier:
    """A thread of its own, so that a receiver that hangs holds up nobody else.

    What came of an attempt is put on record at once; where the records store does not answer, the
    courier goes on trying that and sends nothing a second time.
    """

    def __init__(
        self, name: str, sender: Sender, records: NoticeRecords, clock: Callable[[], int]
    ) -> None:
        self.name = name
        self.delivered = self.failed = 0
        self.fault = ""
        self._sender, self._records, self._clock = sender, records, clock
        self._waiting: list[Waiting] = []
        self._stop = threading.Event()
        self._news = threading.Event()
        self._thread = threading.Thread(target=self._work, name=f"courier {name}", daemon=True)

    @property
    def waiting(self) -> int:
        """Count the notices that are not delivered."""
        return len(self._waiting)

    def start(self) -> None:
        """Begin to deliver."""
        self._thread.start()

    def stop(self, timeout: float) -> None:
        """End after the attempt under way, or leave it to itself after `timeout` s."""
        self._stop.set()
        self._news.set()
        if self._thread.ident is not None:
            self._thread.join(timeout)

    def take(self, sent: Sent) -> None:
        """Take a notice that is on record."""
        self._waiting.append(Waiting(sent.notice, list(sent.attempts)))
        self._news.set()

    def _work(self) -> None:
        while not self._stop.is_set():
            try:
                self.turn()
            except StoreError as error:
                LOG.warning("notices: %s", error)
            except Exception:
                LOG.exception("the courier of %s stumbled; it goes on", self.name)
            self._news.wait(TURN_S)
            self._news.clear()

    def turn(self) -> None:
        """Do what is due now: keep what came of the last attempt, or make the next. StoreError."""
        if not self._waiting:
            return
        first, now = self._waiting[0], self._clock()
        if not first.unkept and next_attempt(first.notice.time, first.attempts, now) <= now:
            first.unkept += self._attempted(first, now)
            first.attempts += first.unkept
        while first.unkept:
            self._records.note(first.notice.id, first.unkept[0])
            del first.unkept[0]
        if first.attempts and first.attempts[-1].outcome is not Outcome.FAILED:
            self._waiting.remove(first)

    def _attempted(self, waiting: Waiting, now: int) -> list[Attempt]:
        try:
            self._sender.send(waiting.notice)
        except DeliveryError as error:
            return self._not_taken(waiting, str(error), now)
        except Exception as error:  # noqa: BLE001  a library of many services may raise anything
            return self._not_taken(waiting, type(error).__name__, now)
        if self.fault:
            LOG.info(
                "receiver %s takes notices again",
                self.name,
                extra=event("receiver_back", receiver=self.name),
            )
        self.fault = ""
        self.delivered += 1
        return [Attempt(self._clock(), Outcome.DELIVERED)]

    def _not_taken(self, waiting: Waiting, why: str, now: int) -> list[Attempt]:
        self.failed += 1
        if why != self.fault:
            LOG.warning(
                "receiver %s did not take a notice: %s",
                self.name,
                why,
                extra=event("receiver_away", receiver=self.name),
            )
        self.fault = why
        attempt = Attempt(self._clock(), Outcome.FAILED, why)
        if gives_up([*waiting.attempts, attempt], now):
            LOG.error("receiver %s: a notice of its day is given up", self.name)
            return [attempt, Attempt(attempt.time + SECOND, Outcome.GIVEN_UP, why)]
        return [attempt]
