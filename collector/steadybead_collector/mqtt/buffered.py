"""A client whose socket reads large pieces: the library itself asks for a byte at a time.

paho-mqtt takes each packet from its socket in three or more receives, each a system call. Here one
receive brings many packets, and the others are served from memory: plain messages many at once
(`packets.py`), all else to the library as it asks.
"""

import ssl
import time
from collections.abc import Sequence
from typing import Any

import paho.mqtt.client as paho

from steadybead_collector.mqtt.packets import Arrived, acknowledgements, whole_messages

PIECE = 65_536


class BufferedSocket:
    """Stands before a socket (plain or TLS) and holds what one receive brought.

    While `holding`, what is sent gathers too, until `flush`: a hundred acknowledgements go as one.
    """

    def __init__(self, inner: Any) -> None:
        self._inner = inner
        self._held = memoryview(b"")
        self._unsent = bytearray()
        self.holding = False

    def recv(self, size: int) -> bytes:
        """Give up to `size` octets; like the socket's own, b"" at its end. OSError."""
        if not self._held:
            self._held = memoryview(self._inner.recv(PIECE))
        given = self._held[:size].tobytes()
        self._held = self._held[size:]
        return given

    def messages(self, most: int) -> list[Arrived]:
        """Take up to `most` messages that stand whole at the front of what is held."""
        found, length = whole_messages(self._held.tobytes(), most)
        self._held = self._held[length:]
        return found

    def pending(self) -> int:
        """Count the octets that a selector does not know of: held here, or read by TLS."""
        return len(self._held) or int(getattr(self._inner, "pending", int)())

    @property
    def unsent(self) -> int:
        """Count the octets that wait for `flush`."""
        return len(self._unsent)

    def send(self, data: bytes) -> int:
        """Send, after what waits; give how many octets were taken. OSError."""
        if self.holding or self._unsent:
            self._unsent += data
            return len(data)
        return int(self._inner.send(data))

    def gather(self, data: bytes) -> None:
        """Let data wait for `flush`, after what waits already."""
        self._unsent += data

    def flush(self) -> None:
        """Send what waits, as far as the socket takes it now. OSError."""
        self.holding = False
        try:
            while self._unsent:
                del self._unsent[: self._inner.send(self._unsent)]
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return

    def fileno(self) -> int:
        """Give the descriptor for a selector."""
        return int(self._inner.fileno())

    def setblocking(self, flag: bool) -> None:
        """Pass on."""
        self._inner.setblocking(flag)

    def close(self) -> None:
        """Close; what is held is gone, and the broker sends it again."""
        self._held = memoryview(b"")
        self._unsent.clear()
        self._inner.close()


class BufferedClient(paho.Client):
    """The library's client on a buffered socket (MQTT 3.1.1, acknowledgements by hand).

    Both ways around the library leave to it what it has begun itself.
    """

    def arrived(self, most: int) -> list[Arrived]:
        """Take messages that have come whole, in order; none while the library is in a packet."""
        connection = self.socket()
        if not isinstance(connection, BufferedSocket) or self._in_packet["command"]:
            return []
        found = connection.messages(most)
        if found:
            with self._msgtime_mutex:
                self._last_bytes_received = time.monotonic()
        return found

    def acknowledge(self, mids: Sequence[int]) -> None:
        """Acknowledge messages of QoS 1, in the order given; they go with the next `flush`."""
        connection = self.socket()
        if isinstance(connection, BufferedSocket) and not self.want_write():
            connection.gather(acknowledgements(mids))
        else:
            for mid in mids:
                self.ack(mid, 1)

    def _create_socket(self) -> Any:
        return BufferedSocket(super()._create_socket())
