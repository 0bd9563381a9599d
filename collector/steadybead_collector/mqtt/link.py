"""One MQTT client, driven by one thread: reads, acknowledgements and publishing.

The client library is touched by this thread alone. Other threads hand over work in a queue and
wake the thread through a socket pair.
"""

import logging
import selectors
import socket
from collections import deque
from collections.abc import Callable
from typing import Any, Protocol

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from steadybead_collector.mqtt.address import Address
from steadybead_collector.mqtt.backoff import Backoff
from steadybead_collector.mqtt.buffered import BufferedClient
from steadybead_collector.mqtt.packets import Arrived, text_of

LOG = logging.getLogger(__name__)
KEEPALIVE_S = 30
_CONNECT_S = 5.0
_TURN_S = 1.0
_MOST_PACKETS = 200

Work = Callable[[BufferedClient], None]


class LinkLostError(OSError):
    """The connection ended, was refused, or the broker said no to a subscription."""


class RefusedError(LinkLostError):
    """The broker said no; `said` are its own words."""

    def __init__(self, text: str, said: str) -> None:
        super().__init__(text)
        self.said = said


class LinkOwner(Protocol):
    """Who hears from a link; all in the link's thread."""

    def goes_on(self) -> bool:
        """Tell whether the connection should go on."""

    def let_in(self, *, session_present: bool) -> None:
        """Learn that the broker let us in, and whether it has kept our session."""

    def subscribed(self) -> None:
        """Learn that every subscription is confirmed."""

    def heard(self, message: Arrived) -> None:
        """Take a message."""

    def lost(self, error: Exception | None) -> None:
        """Learn that the connection ended, or did not come about; None: as it should."""


class Link:
    """Runs one connection after the other for its owner.

    `keep_session`: the broker keeps what comes while nobody is connected under this client id.
    `aside` are topics that a broker may refuse without harm.
    """

    def __init__(
        self,
        address: Address,
        client_id: str,
        filters: tuple[str, ...],
        owner: LinkOwner,
        *,
        keep_session: bool = True,
        aside: tuple[str, ...] = (),
    ) -> None:
        self.address, self.filters, self._owner = address, filters, owner
        self._aside, self._asked = aside, -1
        self._keep_session = keep_session
        self._backoff = Backoff()
        self._refused: tuple[str, str] | None = None
        self._work: deque[Work] = deque()
        self._ears, self._mouth = socket.socketpair()
        self._ears.setblocking(False)
        self._mouth.setblocking(False)
        self._client = self._build(client_id)

    def _build(self, client_id: str) -> BufferedClient:
        client = BufferedClient(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=not self._keep_session,
            protocol=paho.MQTTv311,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        client.connect_timeout = _CONNECT_S
        if self.address.user is not None:
            client.username_pw_set(self.address.user, self.address.password)
        if self.address.tls:
            ca_file = self.address.ca_file
            client.tls_set(ca_certs=None if ca_file is None else str(ca_file))
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    def hand_over(self, work: Work) -> None:
        """Let the thread of the link do something with the client; from any thread."""
        self._work.append(work)
        self.wake()

    def wake(self) -> None:
        """Make the thread look at its work and at whether it should end."""
        try:
            self._mouth.send(b"\0")
        except OSError:  # full: it will wake anyway; closed: there is nothing to wake
            return

    def keep(self, pause: Callable[[float], object]) -> None:
        """Connect again and again until told to end, then close; `pause` waits so many seconds.

        Whatever goes wrong in one connection, the next one comes.
        """
        while self._owner.goes_on():
            try:
                self.run()
            except OSError as error:
                self._owner.lost(error)
            except Exception as error:
                LOG.exception("the network thread stumbled; it reconnects")
                self._owner.lost(error)
            else:
                self._owner.lost(None)
            pause(self._backoff.next())
        self.close()

    def run(self) -> None:
        """Connect and serve until told to end or the connection ends. LinkLostError, OSError."""
        self._refused = None
        self._work.clear()
        self._client.connect(self.address.host, self.address.port, KEEPALIVE_S)
        connection: Any = self._client.socket()
        if connection is None:
            raise LinkLostError("the connection was closed at once")
        with selectors.DefaultSelector() as selector:
            selector.register(self._ears, selectors.EVENT_READ)
            selector.register(connection, selectors.EVENT_READ)
            while self._owner.goes_on():
                self._turn(selector, connection)
            self._work_off(connection)
        self._say_goodbye()

    def close(self) -> None:
        """Give the wake-up sockets back."""
        self._ears.close()
        self._mouth.close()

    def _turn(self, selector: selectors.BaseSelector, connection: Any) -> None:
        wanted = selectors.EVENT_READ
        if self._client.want_write() or connection.unsent:
            wanted |= selectors.EVENT_WRITE
        if selector.get_key(connection).events != wanted:
            selector.modify(connection, wanted)
        waiting = connection.pending()  # octets that no selector knows of
        ready = {key.fileobj: mask for key, mask in selector.select(0.0 if waiting else _TURN_S)}
        if self._ears in ready:
            self._drain_ears()
        if waiting or ready.get(connection, 0) & selectors.EVENT_READ:
            self._read(connection)
        self._work_off(connection)
        if self._client.want_write():
            self._check(self._client.loop_write())
        self._check(self._client.loop_misc())

    def _read(self, connection: Any) -> None:
        """Take one packet, and those that came with it; not for ever: others wait too."""
        left = _MOST_PACKETS
        while left > 0:
            self._check(self._client.loop_read())
            messages = self._client.arrived(left)
            for message in messages:
                self._owner.heard(message)
            left -= 1 + len(messages)
            if not connection.pending() or not self._owner.goes_on():
                return

    def _work_off(self, connection: Any) -> None:
        """Do what was handed over; what it sends goes as one piece."""
        connection.holding = bool(self._work)
        while self._work:
            self._work.popleft()(self._client)
        connection.flush()

    def _drain_ears(self) -> None:
        try:
            self._ears.recv(4096)
        except BlockingIOError:
            return

    def _check(self, result: MQTTErrorCode) -> None:
        if self._refused:
            raise RefusedError(*self._refused)
        if result != paho.MQTT_ERR_SUCCESS or not self._client.socket():
            raise LinkLostError(
                f"connection lost ({paho.error_string(result).rstrip('.').lower()})"
            )

    def _say_goodbye(self) -> None:
        self._client.disconnect()
        self._client.loop_write()

    def _on_connect(
        self, client: paho.Client, _data: Any, flags: Any, reason: ReasonCode, _properties: Any
    ) -> None:
        if reason.is_failure:
            said = str(reason)
            self._refused = f"the broker refused the connection ({said.lower()})", said
            return
        self._owner.let_in(session_present=bool(flags.session_present))
        self._asked = client.subscribe([(topic, 1) for topic in self.filters])[1] or -1
        if self._aside:
            client.subscribe([(topic, 0) for topic in self._aside])

    def _on_subscribe(
        self,
        _client: paho.Client,
        _data: Any,
        mid: int,
        reasons: list[ReasonCode],
        _properties: Any,
    ) -> None:
        if mid != self._asked:
            return
        for topic, reason in zip(self.filters, reasons, strict=False):
            if reason.is_failure:
                self._refused = f"the broker refused the subscription to {topic}", str(reason)
                return
        self._backoff.reset()
        self._owner.subscribed()

    def _on_message(self, _client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        topic = text_of(bytes(message._topic))  # noqa: SLF001  its `topic` raises if not UTF-8
        self._owner.heard(
            Arrived(
                topic, bytes(message.payload), message.mid, message.qos, message.dup, message.retain
            )
        )
