"""Three brokers, three collectors, one store: a broker and a collector die in mid-stream."""

import contextlib
import signal
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import paho.mqtt.client as paho
import pytest

import influx_server
import records_postgres
from brokers_ingest import Publisher, publisher, until
from cluster_nats import Balancer, cluster
from collect_servers import Collecting, stand_in
from influx_server import Gate
from steadybead_collector.stores.influx.reader import InfluxReader
from steadybead_domain.ids import ChannelId

STATIONS = ("bay-1", "bay-2", "bay-3")
PER_ROUND = 150
STEP_US = 10_000
PLANT = """[site]
id = "north"
timezone = "Europe/Lisbon"

[mqtt]
url = "{url}"
topics = ["steadybead/v1/north/{station}/#"]

[store]
readings = "{readings}"
records = "{records}"

[[station]]
id = "{station}"

[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"

[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"
"""


class Watcher:
    """Hears `live` of all stations and when, and the alarms that stand; speaks for a station."""

    def __init__(self, url: str) -> None:
        self.heard: dict[str, float] = {}
        self.longest: dict[str, float] = {}
        self.alarms: dict[str, dict[str, Any]] = {}
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda c, *_: c.subscribe(
            [("steadybead/v1/north/+/live", 1), ("steadybead/v1/north/+/alarm/+", 1)]
        )
        self._client.on_message = self._hear
        self._client.reconnect_delay_set(1, 1)
        host, port = url.removeprefix("mqtt://").rsplit(":", 1)
        self._client.connect(host, int(port), keepalive=5)
        self._client.loop_start()

    def _hear(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        if "/alarm/" in message.topic:
            self._hear_alarm(message.topic, message.payload)
            return
        station, now = message.topic.split("/")[3], time.monotonic()
        gap = now - self.heard.get(station, now)
        self.longest[station] = max(gap, self.longest.get(station, 0.0))
        self.heard[station] = now

    def _hear_alarm(self, topic: str, payload: bytes) -> None:
        if payload:
            self.alarms[topic] = orjson.loads(payload)
        else:
            self.alarms.pop(topic, None)

    def offline(self, station: str) -> set[str]:
        """Give the alarms that say that a station is off line."""
        mine = f"steadybead/v1/north/{station}/alarm/"
        found = [(t, a) for t, a in list(self.alarms.items()) if t.startswith(mine)]
        return {topic for topic, alarm in found if "station_offline" in alarm["kind"]}

    def returned(self, topics: set[str]) -> bool:
        """Tell whether the stand-in has seen these alarms' conditions go."""
        return all("returned" in self.alarms.get(t, {"state": "returned"})["state"] for t in topics)

    def say_online(self, station: str, word: str) -> None:
        self._client.publish(f"steadybead/v1/north/{station}/online", word, 1, retain=True)

    def fresh(self, since: float) -> bool:
        return all(self.heard.get(station, 0.0) > since for station in STATIONS)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Stream:
    """Sends to all stations in turn; number n is for station n mod 3, ten milliseconds later."""

    def __init__(self, client: Publisher) -> None:
        self._client = client
        self.sent = 0
        self.base_us = time.time_ns() // 1_000_000 * 1000
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._end.wait(0.01):
            station = STATIONS[self.sent % len(STATIONS)]
            moment = (self.base_us + self.sent * STEP_US) / 1e6
            pack = [{"n": "gun-a/nozzle", "t": moment, "v": 300 + self.sent % 7}]
            topic = f"steadybead/v1/north/{station}/senml"
            self._client.send(topic, orjson.dumps(pack), number=self.sent)
            self.sent += 1

    def await_more(self, count: int) -> None:
        target = self.sent + count
        until(lambda: self.sent >= target, 60)

    def stop(self) -> None:
        self._end.set()
        self._thread.join()


@pytest.fixture
def gate() -> Iterator[Gate]:
    if (reason := influx_server.why_not()) is not None:
        pytest.skip(reason)
    with influx_server.readings_server() as gate:
        yield gate


@pytest.fixture
def records() -> Iterator[str]:
    if (reason := records_postgres.why_not()) is not None:
        pytest.skip(reason)
    with records_postgres.server() as url:
        yield url


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_a_broker_and_a_collector_die_and_nothing_is_lost(
    tmp_path: Path, gate: Gate, records: str
) -> None:
    with contextlib.ExitStack() as stack:
        nodes = stack.enter_context(cluster(tmp_path))
        balancer = Balancer(nodes)
        stack.callback(balancer.close)
        plants = [_plant(tmp_path, s, balancer.url, gate, records) for s in STATIONS]
        collectors = [Collecting(p, tmp_path / f"data-{p.stem}") for p in plants]
        for collector in collectors:
            stack.callback(collector.end, signal.SIGKILL)
            collector.await_start()
        double = Collecting(plants[0], tmp_path / "double")
        stack.callback(double.end, signal.SIGKILL)
        watcher = Watcher(balancer.url)
        stack.callback(watcher.close)
        stream = Stream(stack.enter_context(publisher(balancer.url)))
        stack.callback(stream.stop)
        stream.await_more(PER_ROUND)
        watcher.say_online("bay-2", "0")
        until(lambda: watcher.offline("bay-2"), 60)
        standing = watcher.offline("bay-2")
        nodes[0].kill()
        stream.await_more(PER_ROUND)
        collectors[1].end(signal.SIGKILL)
        standby = stand_in(plants[1], collectors[1], tmp_path / "standby")
        stack.callback(standby.end, signal.SIGKILL)
        killed = time.monotonic()
        standby.await_start()
        until(lambda: watcher.fresh(killed), 60)
        resumed_s = time.monotonic() - killed
        for station in ("bay-1", "bay-3"):
            watcher.say_online(station, "0")
        until(lambda: watcher.offline("bay-1") and watcher.offline("bay-3"), 60)
        alarmed_s = time.monotonic() - killed
        assert watcher.offline("bay-2") == standing, (
            watcher.alarms
        )  # the same alarm, neither lost nor double
        watcher.say_online("bay-2", "1")
        until(lambda: watcher.returned(standing), 60)
        stream.await_more(PER_ROUND)
        nodes[0].start()
        stream.await_more(PER_ROUND)
        stream.stop()
        stream._client.flush(60)
        until(lambda: not _missing(gate, stream), 60)
        assert len(stream._client.acknowledged) == stream.sent
        assert "another collector watches north/bay-1" in double.refused()
        sys.stdout.write(
            f"live again {resumed_s:.1f} s after the collector's death, new alarms of the others"
            f" {alarmed_s:.1f} s after it; longest silence of live"
            f" {max(watcher.longest.values()):.1f} s; {stream.sent} messages\n"
        )


def _plant(folder: Path, station: str, url: str, gate: Gate, records: str) -> Path:
    file = folder / f"{station}.toml"
    file.write_text(
        PLANT.format(station=station, url=url, readings=gate.store_url(), records=records)
    )
    return file


def _missing(gate: Gate, stream: Stream) -> set[int]:
    reader = InfluxReader(gate.address())
    found: set[int] = set()
    count = 0
    for station in STATIONS:
        channel = ChannelId("north", station, "gun-a/nozzle")
        for rows in reader.read(channel, stream.base_us, stream.base_us + 3_600_000_000):
            found |= set(((rows.time - stream.base_us) // STEP_US).tolist())
            count += len(rows)
    reader.close()
    assert count == len(found)
    return set(stream._client.acknowledged) - found
