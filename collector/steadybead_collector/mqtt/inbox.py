"""What has arrived and waits for the writer: bounded, so that a slow store slows the broker."""

import threading
from collections import deque
from dataclasses import dataclass

MOST_MESSAGES = 20_000
MOST_BYTES = 64 * 1024 * 1024


@dataclass(slots=True)
class Message:
    """One message as it arrived.

    `received`: µs, strictly ascending. `connection` counts connections: an acknowledgement is only
    good on the connection that brought the message. `backlog`: the broker had it stored (a
    retained message, one sent again, or one that came while a resumed session was drained).
    """

    topic: str
    payload: bytes
    received: int
    mid: int = 0
    qos: int = 1
    dup: bool = False
    retain: bool = False
    connection: int = 0
    backlog: bool = False


class Inbox:
    """Hands messages from the network thread to the writer; `put` blocks while it is full."""

    def __init__(self, most_messages: int = MOST_MESSAGES, most_bytes: int = MOST_BYTES) -> None:
        self._most_messages, self._most_bytes = most_messages, most_bytes
        self._messages: deque[Message] = deque()
        self._bytes = 0
        self._closed = False
        self._awaited = 1
        self._lock = threading.Lock()
        self._arrived = threading.Condition(self._lock)
        self._taken = threading.Condition(self._lock)

    def __len__(self) -> int:
        """Count the messages that wait."""
        return len(self._messages)

    @property
    def oldest(self) -> int | None:
        """Give the time of receipt of the message that has waited longest."""
        with self._lock:
            return self._messages[0].received if self._messages else None

    def put(self, message: Message) -> bool:
        """Append, waiting for room; False if the inbox was closed."""
        with self._lock:
            self._taken.wait_for(lambda: self._closed or self._has_room(len(message.payload)))
            if self._closed:
                return False
            self._messages.append(message)
            self._bytes += len(message.payload)
            if len(self._messages) >= self._awaited:
                self._arrived.notify()
            return True

    def take(self, most: int, wait_s: float, linger_s: float = 0.0) -> list[Message]:
        """Take up to `most` messages, waiting up to `wait_s` for the first one.

        Then up to `linger_s` more, so that one commit serves many messages.
        """
        with self._lock:
            self._await(1, wait_s)
            if self._messages:
                self._await(min(most, self._most_messages), linger_s)
            count = min(most, len(self._messages))
            taken = [self._messages.popleft() for _ in range(count)]
            self._bytes -= sum(len(m.payload) for m in taken)
            if taken:
                self._taken.notify()
            return taken

    def _await(self, count: int, wait_s: float) -> None:
        self._awaited = count
        self._arrived.wait_for(lambda: self._closed or len(self._messages) >= count, wait_s)

    def close(self) -> None:
        """Let everybody go who waits."""
        with self._lock:
            self._closed = True
            self._arrived.notify_all()
            self._taken.notify_all()

    def _has_room(self, size: int) -> bool:
        if not self._messages:
            return True
        return len(self._messages) < self._most_messages and self._bytes + size <= self._most_bytes
