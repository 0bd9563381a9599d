"""A Mosquitto of our own on a free port, and a client that counts what it hears."""

import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


@contextmanager
def mosquitto(folder: Path, port: int) -> Iterator[str]:
    """Run a broker; it is stopped by its own process handle."""
    conf = folder / f"mosquitto-{port}.conf"
    conf.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"
        "persistence false\n",
        "utf-8",
    )
    assert MOSQUITTO is not None
    process = subprocess.Popen(
        [MOSQUITTO, "-c", str(conf)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        await_port(port, process)
        yield f"mqtt://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(10)


def await_port(port: int, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + 10.0
    while time.monotonic() < deadline:
        assert process.poll() is None, "the broker ended"
        with socket.socket() as probe:
            probe.settimeout(0.2)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
    raise AssertionError("the broker does not listen")


class Listener:
    """A subscriber to everything, at QoS 1."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        self._news = threading.Condition()
        self._subscribed = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=f"listener-{id(self)}")
        self._client.on_message = self._take
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.connect("127.0.0.1", port)

    def __enter__(self) -> Self:
        self._client.loop_start()
        self._client.subscribe("#", qos=1)
        assert self._subscribed.wait(10.0)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _take(self, client: mqtt.Client, data: Any, message: mqtt.MQTTMessage) -> None:
        del client, data
        with self._news:
            self.heard.append((message.topic, bytes(message.payload), message.retain))
            self._news.notify_all()

    def until(self, happened: Callable[[list[tuple[str, bytes, bool]]], bool], s: float) -> None:
        """Await something; AssertionError after `s` seconds."""
        with self._news:
            assert self._news.wait_for(lambda: happened(self.heard), s), len(self.heard)

    def last(self, topic: str) -> bytes | None:
        return next((p for t, p, _ in reversed(self.heard) if t == topic), None)
