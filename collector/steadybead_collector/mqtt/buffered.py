"""A client whose socket reads large pieces: the library itself asks for a byte at a time.

paho-mqtt takes each packet from its socket in three or more receives, each a system call. Here one
receive brings many packets, and the others are served from memory.
"""

import ssl
from typing import Any

import paho.mqtt.client as paho

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
    """The library's client on a buffered socket."""

    def _create_socket(self) -> Any:
        return BufferedSocket(super()._create_socket())
