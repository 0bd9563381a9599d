"""The collector: one thread listens, one writes, judges and publishes."""

import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from steadybead_collector.clock import wall_clock
from steadybead_collector.config import PlantFile
from steadybead_collector.event_log import event
from steadybead_collector.health import Pulse
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.mqtt.address import Address, kept_client_id, subscriptions
from steadybead_collector.mqtt.backoff import Backoff
from steadybead_collector.mqtt.inbox import Inbox, Message
from steadybead_collector.mqtt.subscriber import Subscriber
from steadybead_collector.pipeline import Hear, Pipeline, unheard
from steadybead_collector.settled import SettledFile
from steadybead_domain.ports import FactsStore, OnServer, ReadingsStore, StoreError
from steadybead_domain.times import SECOND

LOG = logging.getLogger(__name__)
T = TypeVar("T")
MOST_MESSAGES = 2000  # a batch has a price for each channel, however few readings it brings
_BEHIND = 50  # so many waiting, and judging gets half of the time
_FLOOD = 500  # so many, and it gets a quarter
LINGER_S = 0.02
_SLICE_S = 0.06  # of judging, before what has come is taken in
_TURN_S = 0.05
_TIDY_EVERY = SECOND // 4
_TIDY_FOR = SECOND // 50
_SAVE_FOR = 3 * SECOND // 2


class _StoppedError(Exception):
    """The collector was asked to stop while a store did not answer."""


@dataclass(frozen=True, slots=True)
class CollectorStatus:
    """How the collector is doing.

    `lag_s`: how long the oldest message has waited. `counts`: records by outcome word since the
    start. `last_error`: empty, or the newest fault of broker or store that is not over.
    `clock_offset_s`: of the station whose newest readings are the furthest from the time of their
    receipt, in the last half minute; positive where its clock is behind. `broker_dropped`:
    messages that the broker says that it dropped. Both None while nothing is known.
    """

    subscribed: bool
    store_ok: bool
    queue_length: int
    lag_s: float
    counts: Mapping[str, int]
    last_error: str
    clock_offset_s: float | None = None
    broker_dropped: int | None = None


class Collector:
    """Owns the subscription and the writer. Stores and broker belong to the caller.

    Nothing is acknowledged before it is durable. When a store does not answer, messages wait in
    the broker and the writer tries again; nothing is dropped. `plant` is the version accepted.
    `hear` is told of alarms in the writer's thread and must return at once.
    """

    def __init__(
        self,
        plant_file: PlantFile,
        readings: ReadingsStore,
        facts: FactsStore,
        mqtt_url: str,
        data_dir: Path,
        clock: Callable[[], int] = wall_clock,
        hear: Hear = unheard,
    ) -> None:
        data_dir.mkdir(parents=True, exist_ok=True)
        self._clock, self._readings = clock, readings
        settings = plant_file.mqtt
        self.plant = plant = facts.accept_plant(plant_file.text, plant_file.plant, clock())
        self._settled = SettledFile(data_dir)
        self._pulse = Pulse(data_dir)
        self._inbox = Inbox()
        self._subscriber = Subscriber(
            Address.of(mqtt_url, settings),
            kept_client_id(data_dir),
            subscriptions(plant, settings),
            self._inbox,
            clock,
            ask_broker=settings.url is not None,
        )
        self._pipeline = Pipeline(
            plant,
            settings.root,
            readings,
            facts,
            lambda topic, payload: self._subscriber.publish(topic, payload, retain=True),
            Receipts(self._settled.read()),
            self._persist,
            hear,
            _SLICE_S,
        )
        self._alarm_prefix = f"{settings.root}/{plant.site}/"
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._write, name="writer", daemon=True)
        self._store_fault = ""
        self._connection = 0
        self._tidied_at = 0
        self._judge_from = 0.0

    def start(self) -> None:
        """Take up the saved state, then listen and write. StoreError if a store cannot be read."""
        self._pipeline.open()
        self._thread.start()
        self._subscriber.start()

    def stop(self, timeout: float = 3.0) -> None:
        """Stop listening, commit what is under way, save. What was not acknowledged comes again."""
        self._stop.set()
        self._subscriber.stop(timeout)
        if self._thread.ident is not None:
            self._thread.join(timeout)

    def wait_ready(self, timeout: float) -> bool:
        """Wait until the broker has confirmed the subscriptions."""
        return self._subscriber.wait_ready(timeout)

    def status(self) -> CollectorStatus:
        """Tell how it is doing; from any thread."""
        oldest = self._inbox.oldest
        counts = dict(self._pipeline.ingest.counts)
        on_server = self._readings.fault if isinstance(self._readings, OnServer) else ""
        fault = self._store_fault or on_server
        return CollectorStatus(
            self._subscriber.ready and self._thread.is_alive(),
            not fault,
            len(self._inbox),
            0.0 if oldest is None else max(0, self._clock() - oldest) / SECOND,
            {outcome.value: number for outcome, number in counts.items()},
            fault or self._subscriber.last_error,
            self._pipeline.diagnoses.clock_offset_s(self._clock()),
            self._subscriber.broker_dropped,
        )

    def _write(self) -> None:
        """Work until told to stop. Whatever happens to one turn, the next one comes."""
        backoff = Backoff()
        while not self._stop.is_set():
            try:
                self._turn()
                backoff.reset()
            except _StoppedError:
                break
            except StoreError as error:
                self._say_store_fault(str(error))
                self._stop.wait(backoff.next())
            except Exception as error:
                LOG.exception("the writer stumbled; it goes on")
                self._say_store_fault(f"{type(error).__name__}: {error}")
                self._stop.wait(backoff.next())
        self._finish()

    def _turn(self) -> None:
        wait_s, linger_s = (0.0, 0.0) if self._pipeline.has_more else (_TURN_S, LINGER_S)
        messages = self._inbox.take(MOST_MESSAGES, wait_s, linger_s)
        if messages:
            self._take_in(messages)
        oldest = self._inbox.oldest
        if oldest is None:
            self._subscriber.caught_up()
        self._meet_connection()
        now = self._clock()
        if oldest is None or time.perf_counter() >= self._judge_from:
            self._judge(now, oldest or now)
        self._tidy(now)
        self._store_fault = ""

    def _judge(self, now: int, heard_until: int) -> None:
        """Judge; while many messages wait, half of the time goes to them, 3/4 of a flood."""
        began = time.perf_counter()
        draining, settling = self._subscriber.draining, self._subscriber.settling
        self._pipeline.tick(now, heard_until=heard_until, draining=draining, settling=settling)
        ended = time.perf_counter()
        waiting = len(self._inbox)
        share = 3 if waiting >= _FLOOD else 1 if waiting >= _BEHIND else 0
        self._judge_from = ended + (ended - began) * share

    def _take_in(self, messages: Sequence[Message]) -> None:
        for message in messages:
            if message.retain and message.payload and self._is_alarm(message.topic):
                self._pipeline.publisher.found(message.topic)
        self._feed(messages)
        acknowledged = self._subscriber.acknowledge(messages)
        self._pipeline.receipts.acknowledged(acknowledged, time.monotonic_ns() // 1000)

    def _feed(self, messages: Sequence[Message]) -> None:
        """Commit the batch; if a fault of ours shows, message by message to find its cause."""
        if self._fault_of(messages) is None:
            return
        for message in messages:
            fault = self._fault_of([message])
            if fault is not None:
                self._pipeline.refuse(message, fault)

    def _fault_of(self, messages: Sequence[Message]) -> str | None:
        """Commit; give the fault of ours that shows, if one does."""
        try:
            self._pipeline.feed(messages)
        except (StoreError, _StoppedError):
            raise
        except Exception as error:
            LOG.exception("%d messages cannot be taken in", len(messages))
            return f"{type(error).__name__}: {error}"
        return None

    def _is_alarm(self, topic: str) -> bool:
        return topic.startswith(self._alarm_prefix) and "/alarm/" in topic

    def _meet_connection(self) -> None:
        """After a new connection, say everything again: a broker may have lost what it kept."""
        connection = self._subscriber.connection
        if connection != self._connection and self._subscriber.ready:
            self._connection = connection
            self._pipeline.publisher.forget()

    def _tidy(self, now: int) -> None:
        if 0 <= now - self._tidied_at < _TIDY_EVERY:
            return
        self._tidied_at = now
        self._settled.write(self._pipeline.receipts.settled_until)
        if self._pulse.due(now):
            status = self.status()
            self._pulse.beat(now, subscribed=status.subscribed, fault=status.last_error)
        while self._readings.maintain() and self._clock() - now < _TIDY_FOR:
            pass

    def _persist(self, action: Callable[[], T]) -> T:
        """Do a durable step, again and again until the store takes it or the collector stops."""
        backoff = Backoff()
        while True:
            try:
                return action()
            except StoreError as error:
                self._say_store_fault(str(error))
            if self._stop.wait(backoff.next()):
                raise _StoppedError

    def _say_store_fault(self, text: str) -> None:
        if text != self._store_fault:
            LOG.error("%s", text, extra=event("store_fault"))
        self._store_fault = text

    def _finish(self) -> None:
        started = self._clock()
        try:
            self._pipeline.close(started, lambda: self._clock() - started < _SAVE_FOR)
            self._settled.write(self._pipeline.receipts.settled_until)
        except StoreError as error:
            LOG.warning("the last state could not be saved: %s", error)
