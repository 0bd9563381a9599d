"""Connections to the broker: one for each station, so that each has its own Last Will."""

import contextlib
import selectors
import socket
import threading
import time
from collections import deque
from types import TracebackType
from typing import Any, Self
from urllib.parse import urlsplit

import paho.mqtt.client as mqtt

from steadybead_domain.plant import Plant
from steadybead_simulator.link import MOST_IN_FLIGHT, BadUrlError, BrokerError, Link
from steadybead_simulator.messages import ROOT, Message

__all__ = ["BadUrlError", "BrokerError", "Fleet"]
RETRY_S = 2.0


class Fleet:
    """All stations' connections, driven by one thread. A context manager."""

    def __init__(
        self, url: str, plant: Plant, stop: threading.Event | None = None, root: str = ROOT
    ) -> None:
        self._stop = stop or threading.Event()
        self._closing = threading.Event()
        self._links = {
            s.id.station: Link(
                url,
                s.id.station,
                f"{root}/{s.id.site}/{s.id.station}",
                f"shop-{s.id.site}-{s.id.station}"[:120],
            )
            for s in plant.stations
        }
        self._url = f"{urlsplit(url).hostname}:{urlsplit(url).port or ''}".rstrip(":")
        self._room = threading.Event()  # set whenever something was acknowledged or connected
        self._selector = selectors.DefaultSelector()
        self._changed = deque(self._links.values())
        self._watched: dict[str, Any] = {}
        self._bell_in, self._bell = socket.socketpair()
        self._bell_in.setblocking(False)
        self._bell.setblocking(False)
        self._thread = threading.Thread(target=self._drive, name="simulator-mqtt", daemon=True)
        self.acknowledged = 0

    def __enter__(self) -> Self:
        """Connect everybody; BrokerError if the broker does not take the first."""
        try:
            for link in self._links.values():
                link.client.on_publish = self._counted
                link.connect()
        except (OSError, ValueError) as error:
            self._close_sockets()
            raise BrokerError(
                f"no broker at {self._url}: {error}; start it, or check --mqtt"
            ) from None
        self._thread.start()
        self._await_first()
        return self

    def _await_first(self) -> None:
        deadline = time.monotonic() + 10.0
        for link in self._links.values():
            while not link.client.is_connected() and link.refused is None:
                left = deadline - time.monotonic()
                if left <= 0 or self._stop.is_set():
                    break
                self._pause(min(left, 0.2))
        refused = next((x.refused for x in self._links.values() if x.refused), None)
        connected = any(x.client.is_connected() for x in self._links.values())
        if refused is not None or not (connected or self._stop.is_set()):
            self.close()
            why = refused or "it does not answer"
            raise BrokerError(f"broker {self._url} refuses: {why}; check the user and its rights")

    def publish(self, message: Message) -> None:
        """Hand over one message; waits while its station has too much on its way."""
        link = self._links[message.station]
        while link.waiting() >= MOST_IN_FLIGHT and not self._stop.is_set():
            self._pause(0.2)
        if message.topic == link.online:
            link.word = message.payload
        link.client.publish(message.topic, message.payload, qos=1, retain=message.retain)
        self._touch(link)

    def _pause(self, seconds: float) -> None:
        """Wait for the driving thread to get something done."""
        self._room.clear()
        self._room.wait(seconds)

    def _counted(self, *_: object) -> None:
        self.acknowledged += 1
        self._room.set()

    def _touch(self, link: Link) -> None:
        """Have the driving thread look at a link."""
        self._changed.append(link)
        self._ring()

    def _ring(self) -> None:
        with contextlib.suppress(BlockingIOError, OSError):
            self._bell.send(b"!")

    def _drive(self) -> None:
        """Read, write and keep alive all connections until closed."""
        self._selector.register(self._bell_in, selectors.EVENT_READ, None)
        next_misc = 0.0
        while not self._closing.is_set():
            self._watch()
            for key, events in self._selector.select(0.2):
                self._serve(key, events)
            now = time.monotonic()
            if now >= next_misc:
                next_misc = now + 1.0
                for link in self._links.values():
                    self._keep(link, now)

    def _serve(self, key: selectors.SelectorKey, events: int) -> None:
        link: Link | None = key.data
        if link is None:
            with contextlib.suppress(BlockingIOError):
                self._bell_in.recv(4096)
            return
        if events & selectors.EVENT_READ:
            link.client.loop_read()
        if events & selectors.EVENT_WRITE:
            link.client.loop_write()
        self._changed.append(link)

    def _watch(self) -> None:
        """Follow the sockets that came, went, or want to write since the last look."""
        while self._changed:
            link = self._changed.popleft()
            now, before = link.client.socket(), self._watched.get(link.station)
            if before is not None and before is not now:
                with contextlib.suppress(KeyError, ValueError):
                    self._selector.unregister(before)
                del self._watched[link.station]
            if now is None:
                continue
            events = selectors.EVENT_READ
            if link.client.want_write():
                events |= selectors.EVENT_WRITE
            if link.station not in self._watched:
                self._selector.register(now, events, link)
                self._watched[link.station] = now
            elif self._selector.get_key(now).events != events:
                self._selector.modify(now, events, link)

    def _keep(self, link: Link, now: float) -> None:
        if link.client.loop_misc() == mqtt.MQTT_ERR_SUCCESS or now < link.next_try:
            return
        link.next_try = now + RETRY_S
        with contextlib.suppress(OSError, ValueError):
            link.client.reconnect()
        self._changed.append(link)

    def unacknowledged(self) -> int:
        """Count what the broker has not acknowledged yet."""
        return sum(x.waiting() for x in self._links.values())

    def close(self) -> None:
        """Let the last messages out (at most 2 s), say off line and disconnect; idempotent."""
        if self._closing.is_set():
            return
        for link in self._links.values():
            if link.word == b"1":
                link.client.publish(link.online, b"0", qos=1, retain=True)
                self._touch(link)
        deadline = time.monotonic() + 2.0
        while self.unacknowledged() and time.monotonic() < deadline:
            self._pause(0.05)
        self._closing.set()
        self._ring()
        if self._thread.is_alive():
            self._thread.join(3.0)
        self._close_sockets()

    def _close_sockets(self) -> None:
        for link in self._links.values():
            with contextlib.suppress(OSError):
                link.client.disconnect()
                link.client.loop_write()
            if (left := link.client.socket()) is not None:
                left.close()
        self._selector.close()
        self._bell.close()
        self._bell_in.close()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close."""
        self.close()
