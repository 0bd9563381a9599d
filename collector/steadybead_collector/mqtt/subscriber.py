"""The collector's ear: a durable subscription that feeds the inbox and acknowledges on command."""

import logging
import threading
from collections.abc import Callable, Iterable

from steadybead_collector.event_log import event
from steadybead_collector.mqtt.address import Address
from steadybead_collector.mqtt.buffered import BufferedClient
from steadybead_collector.mqtt.inbox import Inbox, Message
from steadybead_collector.mqtt.link import Link
from steadybead_collector.mqtt.packets import Arrived
from steadybead_domain.times import SECOND

LOG = logging.getLogger(__name__)
DROPPED = "$SYS/broker/publish/messages/dropped"
_LONGEST_COUNT = 18
SETTLE_S = 6.0  # longer than the embedded broker waits before it sends something again


class Subscriber:
    """Subscribes with a fixed client id and a kept session (MQTT 3.1.1, QoS 1, manual PUBACK).

    Messages count as backlog from a resumed session's start until the inbox has been empty once
    and at least SETTLE_S have passed; so do retained ones and those marked as sent again.

    With `ask_broker`, `broker_dropped` is how many messages the broker says that it has dropped
    since it started (Mosquitto does; None where it does not say).
    """

    def __init__(
        self,
        address: Address,
        client_id: str,
        filters: tuple[str, ...],
        inbox: Inbox,
        clock: Callable[[], int],
        *,
        keep_session: bool = True,
        ask_broker: bool = False,
    ) -> None:
        self._inbox, self._clock = inbox, clock
        aside = (DROPPED,) if ask_broker else ()
        self._link = Link(address, client_id, filters, self, keep_session=keep_session, aside=aside)
        self._thread = threading.Thread(
            target=self._link.keep, args=(self._pause,), name="mqtt", daemon=True
        )
        self._changed = threading.Condition()
        self._ready = False
        self._stopping = False
        self._last_received = 0
        self._drain_from: int | None = None
        self.connection = 0
        self.last_error = ""
        self.broker_dropped: int | None = None

    @property
    def ready(self) -> bool:
        """Tell whether the broker has confirmed every subscription (SUBACK) of this connection."""
        return self._ready

    @property
    def draining(self) -> bool:
        """Tell whether a backlog may still be on its way."""
        return self._drain_from is not None

    @property
    def settling(self) -> bool:
        """Tell whether what is sent again may still come after what is newer."""
        since = self._drain_from
        return since is not None and 0 <= self._clock() - since < SETTLE_S * SECOND

    def start(self) -> None:
        """Start the network thread, which connects and reconnects by itself."""
        self._thread.start()

    def stop(self, timeout_s: float = 3.0) -> None:
        """Disconnect and end the thread; what was not acknowledged comes again next time."""
        self._stopping = True
        self._inbox.close()
        with self._changed:
            self._changed.notify_all()
        self._link.wake()
        if self._thread.ident is None:
            self._link.close()
        else:
            self._thread.join(timeout_s)

    def wait_ready(self, timeout_s: float) -> bool:
        """Wait for the SUBACK."""
        with self._changed:
            return self._changed.wait_for(lambda: self._ready, timeout_s)

    def acknowledge(self, messages: Iterable[Message]) -> list[Message]:
        """Send the PUBACKs, in the order given, of those that this connection brought; give them.

        The others come again on this connection, and are acknowledged then.
        """
        connection = self.connection
        own = [m for m in messages if m.qos == 1 and m.connection == connection]

        def send(client: BufferedClient) -> None:
            if connection == self.connection:
                client.acknowledge([message.mid for message in own])

        if own:
            self._link.hand_over(send)
        return own

    def publish(self, topic: str, payload: bytes, *, retain: bool) -> bool:
        """Publish at QoS 0 if connected; False if not: publish again when it is."""
        if not self._ready:
            return False

        def send(client: BufferedClient) -> None:
            client.publish(topic, payload, qos=0, retain=retain)

        self._link.hand_over(send)
        return True

    def caught_up(self) -> None:
        """Say that the inbox was found empty: a backlog may have ended."""
        if not self.settling:
            self._drain_from = None

    def goes_on(self) -> bool:
        """Tell the link whether to go on."""
        return not self._stopping

    def let_in(self, *, session_present: bool) -> None:
        """Hear from the link that the broker let us in."""
        self._drain_from = self._clock() if session_present else None

    def subscribed(self) -> None:
        """Hear from the link that every subscription is confirmed."""
        with self._changed:
            self._ready = True
            self.last_error = ""
            self._changed.notify_all()

    def heard(self, message: Arrived) -> None:
        """Take a message from the link; waits while the inbox is full."""
        if message.topic == DROPPED:
            self._note_dropped(message.payload)
            return
        now = self._next_moment()
        self._inbox.put(
            Message(
                message.topic,
                message.payload,
                now,
                message.mid,
                message.qos,
                message.dup,
                message.retain,
                self.connection,
                backlog=message.retain or message.dup or self._drain_from is not None,
            )
        )

    def _note_dropped(self, payload: bytes) -> None:
        """Take what the broker says of itself; tell the log if it has dropped more."""
        if not payload.isdigit() or len(payload) > _LONGEST_COUNT:
            return
        before, self.broker_dropped = self.broker_dropped, int(payload)
        if before is not None and self.broker_dropped > before:
            more = self.broker_dropped - before
            told = event("broker_dropped", count=more, total=self.broker_dropped)
            LOG.warning("the broker dropped messages: look at its limits of queues", extra=told)

    def _next_moment(self) -> int:
        """Give the time, no two messages the same; a clock that was set back is followed."""
        now, last = self._clock(), self._last_received
        if last - SECOND < now <= last:
            now = last + 1
        self._last_received = now
        return now

    def lost(self, error: Exception | None) -> None:
        """Hear from the link that the connection is gone; what it brought comes again."""
        if isinstance(error, OSError):
            self._note(f"{self._link.address}: {error}")
        elif error is not None:
            self._note(f"{type(error).__name__}: {error}")
        with self._changed:
            self.connection += 1
            self._ready = False
            self._drain_from = None

    def _pause(self, seconds: float) -> None:
        with self._changed:
            self._changed.wait_for(lambda: self._stopping, seconds)

    def _note(self, text: str) -> None:
        if text != self.last_error:
            LOG.warning("mqtt: %s", text, extra=event("broker_lost"))
        self.last_error = text
