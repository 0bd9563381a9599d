"""From a sensor to a page and to an alarm, while the shop sends 2,000 readings a second.

Forty stations with ten channels each send a pack five times a second. A listener hears the server-
sent events of the pages; another hears the alarms on the broker. Each reading counts from the
moment it was sent to the first event that can show it; an alarm counts from the moment it is true
by its own rule (its delays are in that moment) until it is heard. The reference is a round trip
through the same broker, measured beside. The server's memory is read at the end.
"""

import contextlib
import json
import threading
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import httpx
import numpy as np
import paho.mqtt.client as paho
import psutil
from paho.mqtt.enums import CallbackAPIVersion

from bench.bench_line import CHANNELS, LEVELS, STATIONS, serving, wait
from whole_process import Server

EVERY_S = 0.2
GOAL_MS = 250.0
GOAL_MB = 300.0
NO_AIR = {"gun-a/flow": 4.0}
Latencies = list[float]


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; needs mosquitto."""
    calm_s, lost_s, rounds = (1.0, 4.0, 1) if short else (40.0, 8.0, 3)
    with serving() as (server, port):
        heard = Heard()
        with listening(port, heard) as client, page_open(server, heard):
            work(client, calm_s, lost_s, rounds)
            wait(lambda: bool(heard.alarms))
        memory = psutil.Process(server.process.pid).memory_info().rss / 1e6
    round_trip = percentile(heard.round_trips)
    rows = [
        figure("latency: round trip through the broker, 99 of 100", round_trip, "ms"),
        figure("latency: sensor to page, median", percentile(heard.pages, 50), "ms"),
        figure("latency: sensor to page, 99 of 100", percentile(heard.pages), "ms"),
        figure(
            "latency: sensor to page above the round trip",
            percentile(heard.pages) - round_trip,
            "ms",
            GOAL_MS,
        ),
        figure(f"latency: {len(heard.alarms)} alarms, median", percentile(heard.alarms, 50), "ms"),
        figure(
            "latency: sensor to alarm above the round trip, 99 of 100",
            percentile(heard.alarms) - round_trip,
            "ms",
            GOAL_MS,
        ),
        figure("memory: collector and API at 400 channels", memory, "MB", GOAL_MB),
    ]
    return [row | {"goal": None, "met": None} for row in rows] if short else rows


@dataclass
class Heard:
    """Latencies in ms."""

    round_trips: Latencies = field(default_factory=list)
    pages: Latencies = field(default_factory=list)
    alarms: Latencies = field(default_factory=list)


def work(client: paho.Client, calm_s: float, lost_s: float, rounds: int) -> None:
    """Weld in peace, then let all stations lose their air, and the air come back."""
    send(client, calm_s, {})
    for _ in range(rounds):
        send(client, lost_s, NO_AIR)
        send(client, lost_s, {})


def send(client: paho.Client, seconds: float, changed: dict[str, float]) -> None:
    """Send from every station five times a second, spread over the fifth of a second."""
    began, pause = time.perf_counter(), threading.Event()
    for step in range(round(seconds / EVERY_S)):
        for station in range(STATIONS):
            due = began + (step + station / STATIONS) * EVERY_S
            pause.wait(max(0.0, due - time.perf_counter()))
            records: list[dict[str, Any]] = [
                {"n": name, "u": unit, "v": changed.get(name, level * (1 + step % 7 / 500))}
                for (name, _, unit, _), level in zip(CHANNELS, LEVELS, strict=True)
            ]
            now = round(time.time(), 4)
            records[0]["bt"] = now
            topic = f"steadybead/v1/north/bay-{station}"
            client.publish(f"{topic}/senml", json.dumps(records), qos=1)
        client.publish("probe", repr(time.time()), qos=1)


@contextlib.contextmanager
def listening(port: int, heard: Heard) -> Iterator[paho.Client]:
    """Hear the probes and the alarms."""
    known: set[str] = set()

    def on_message(_client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        now = time.time()
        if message.topic == "probe":
            heard.round_trips.append(1e3 * (now - float(message.payload)))
        elif message.payload and message.topic not in known:
            known.add(message.topic)
            raised = json.loads(message.payload)["since"]
            heard.alarms.append(1e3 * (now - seconds_of(raised)))

    clients = [paho.Client(CallbackAPIVersion.VERSION2) for _ in range(2)]
    subscribed = threading.Event()
    clients[0].on_message = on_message
    clients[0].on_subscribe = lambda *_: subscribed.set()
    for client in clients:
        client.connect("127.0.0.1", port)
        client.loop_start()
    clients[0].subscribe([("probe", 1), ("steadybead/v1/+/+/alarm/+", 1)])
    subscribed.wait(10)
    yield clients[1]
    for client in clients:
        client.disconnect()
        client.loop_stop()


@contextlib.contextmanager
def page_open(server: Server, heard: Heard) -> Iterator[None]:
    """Read the server-sent events as a page does."""
    ended, opened = threading.Event(), threading.Event()
    newest: dict[str, float] = defaultdict(float)

    def take(event: dict[str, Any], now: float) -> None:
        times = [seconds_of(value["time"]) for value in event.get("values", [])]
        if not times or max(times) <= newest[event["station"]]:
            return
        last = newest[event["station"]]
        first_unseen = min(max(times), last + EVERY_S) if last else max(times)
        heard.pages.append(1e3 * (now - first_unseen))
        newest[event["station"]] = max(times)

    def read() -> None:
        url = f"{server.address.rstrip('/')}/api/v1/live"
        with contextlib.suppress(httpx.HTTPError), httpx.stream("GET", url, timeout=30) as answer:
            kind = ""
            for line in answer.iter_lines():
                opened.set()
                if ended.is_set():
                    return
                kind = line.removeprefix("event: ") if line.startswith("event: ") else kind
                if line.startswith("data: ") and kind == "live":
                    take(json.loads(line.removeprefix("data: ")), time.time())

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    opened.wait(10)
    try:
        yield
    finally:
        ended.set()
        thread.join(10)


def seconds_of(text: str) -> float:
    """Read RFC 3339."""
    return float(np.datetime64(text.removesuffix("Z"), "us").astype(np.int64)) / 1e6


def percentile(values: Latencies, share: float = 99.0) -> float:
    """Give a percentile."""
    return float(np.percentile(values, share))


def figure(name: str, value: float, unit: str, most: float | None = None) -> dict[str, Any]:
    """Make one line of the report."""
    met = None if most is None else value <= most
    return {"name": name, "value": value, "unit": unit, "goal": most, "met": met}
