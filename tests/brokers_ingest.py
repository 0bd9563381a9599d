"""Real brokers and clients for the tests of the collector's way in."""

import contextlib
import getpass
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from steadybead_collector.mqtt.handshake import answers

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
needs_mosquitto = pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed")


def until(condition: Callable[[], object], timeout_s: float = 20.0) -> None:
    """Wait for a condition; fail with its source if it does not come."""
    pause = threading.Event()
    end = time.monotonic() + timeout_s
    while not condition():
        if time.monotonic() > end:
            pytest.fail("the awaited condition did not come")
        pause.wait(0.02)


def free_port() -> int:
    """Give a port that is free now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Mosquitto:
    """A broker of our own on a free port; `stop` and `start` keep the port."""

    folder: Path
    extra: str = ""
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> None:
        assert MOSQUITTO is not None
        config = self.folder / "mosquitto.conf"
        anonymous = "" if "password_file" in self.extra else "allow_anonymous true\n"
        config.write_text(
            f"user {getpass.getuser()}\nlistener {self.port} 127.0.0.1\n{anonymous}"
            f"max_queued_messages 0\nmax_inflight_messages 4000\n{self.extra}\n"
        )
        self.process = subprocess.Popen(
            [MOSQUITTO, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until(lambda: answers("127.0.0.1", self.port) or self._listens())

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None

    def _listens(self) -> bool:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
            return "password_file" in self.extra
        return False


@contextlib.contextmanager
def mosquitto(folder: Path, extra: str = "") -> Iterator[Mosquitto]:
    """Run a Mosquitto for the length of the context."""
    broker = Mosquitto(folder, extra)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


class Publisher:
    """Publishes at QoS 1 and knows which messages the broker has acknowledged."""

    def __init__(self, url: str) -> None:
        self.acknowledged: list[int] = []
        self._numbers: dict[int, int] = {}
        self._early: set[int] = set()
        self._lock = threading.Lock()
        self._client = paho.Client(CallbackAPIVersion.VERSION2)
        self._client.max_inflight_messages_set(200)
        self._client.on_publish = self._on_publish
        host, port = url.removeprefix("mqtt://").rsplit(":", 1)
        self._client.connect(host, int(port))
        self._client.loop_start()

    def send(self, topic: str, payload: bytes, *, number: int = 0, retain: bool = False) -> None:
        """Send without waiting; `number` shows up in `acknowledged`."""
        mid = self._client.publish(topic, payload, qos=1, retain=retain).mid
        with self._lock:
            if mid in self._early:
                self._early.remove(mid)
                self.acknowledged.append(number)
            else:
                self._numbers[mid] = number

    def flush(self, timeout_s: float = 30.0) -> None:
        """Wait until everything is acknowledged."""
        until(lambda: not self._numbers, timeout_s)

    @property
    def waiting(self) -> int:
        """Count what is not acknowledged yet."""
        return len(self._numbers)

    def close(self) -> None:
        """Disconnect."""
        self._client.disconnect()
        self._client.loop_stop()

    def _on_publish(self, *args: object) -> None:
        mid = args[2]
        assert isinstance(mid, int)
        with self._lock:
            if mid in self._numbers:
                self.acknowledged.append(self._numbers.pop(mid))
            else:
                self._early.add(mid)


@contextlib.contextmanager
def publisher(url: str) -> Iterator[Publisher]:
    """Connect a publisher for the length of the context."""
    client = Publisher(url)
    try:
        yield client
    finally:
        client.close()
