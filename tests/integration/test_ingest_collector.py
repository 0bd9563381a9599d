"""The whole collector against real brokers and real stores."""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import orjson
import pytest

from brokers_ingest import Publisher, mosquitto, needs_mosquitto, publisher, until
from fakes_ingest import BreakableReadings, MemoryFacts
from plants_ingest import PLANT, plant_file
from steadybead_collector.check import check
from steadybead_collector.collector import Collector
from steadybead_collector.config import PlantFile, load_plant_file
from steadybead_collector.locking import LockError, lock_folder
from steadybead_collector.mqtt.broker import EmbeddedBroker
from steadybead_collector.outcomes import Outcome
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.stores import open_readings
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import ReadingsStore

BAY_2 = "steadybead/v1/north/bay-2"
NOZZLE = ChannelId("north", "bay-2", "gun-a/nozzle")


@dataclass
class Room:
    """A running collector with SQLite stores on an embedded broker."""

    plant_file: PlantFile
    url: str
    data: Path
    readings: ReadingsStore
    records: Records
    collector: Collector
    client: Publisher

    def counts(self) -> dict[str, int]:
        return dict(self.collector.status().counts)

    def values(self) -> list[float]:
        return [v for part in self.readings.read(NOZZLE, 0, 2**62) for v in part.value.tolist()]


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    loaded = load_plant_file(plant_file(tmp_path))
    broker = EmbeddedBroker(tmp_path)
    url = broker.start()
    readings = open_readings("sqlite", tmp_path, loaded.plant)
    records = open_records("sqlite", tmp_path)
    collector = Collector(loaded, readings, records, url, tmp_path)
    collector.start()
    assert collector.wait_ready(10)
    try:
        with publisher(url) as client:
            yield Room(loaded, url, tmp_path, readings, records, collector, client)
    finally:
        collector.stop()
        readings.close()
        records.close()
        broker.stop()


def _pack(*records: dict[str, object]) -> bytes:
    return orjson.dumps(records)


def _good(value: float) -> bytes:
    return _pack({"n": "gun-a/nozzle", "u": "Cel", "t": time.time(), "v": value})


HOSTILE: dict[Outcome, tuple[str, Callable[[], bytes]]] = {
    Outcome.MALFORMED: (f"{BAY_2}/senml", lambda: b"\xff\x00{"),
    Outcome.TOO_BIG: (f"{BAY_2}/senml", lambda: b"x" * 5_000_000),
    Outcome.VERSION: (f"{BAY_2}/senml", lambda: b'[{"bver":99,"n":"a","v":1}]'),
    Outcome.MUST_UNDERSTAND: (f"{BAY_2}/senml", lambda: b'[{"n":"a","v":1,"q_":1}]'),
    Outcome.NAME: (f"{BAY_2}/senml", lambda: b'[{"n":"no good","v":1}]'),
    Outcome.UNKNOWN_STATION: ("steadybead/v1/north/bay-77/senml", lambda: _good(1)),
    Outcome.UNKNOWN_CHANNEL: (f"{BAY_2}/senml", lambda: b'[{"n":"gun-z/x","v":1}]'),
    Outcome.NO_VALUE: (f"{BAY_2}/senml", lambda: b'[{"n":"gun-a/nozzle"}]'),
    Outcome.NOT_A_NUMBER: (f"{BAY_2}/senml", lambda: b'[{"n":"gun-a/nozzle","vs":"hot"}]'),
    Outcome.NOT_FINITE: (f"{BAY_2}/senml", lambda: b'[{"n":"gun-a/nozzle","v":NaN}]'),
    Outcome.UNIT: (f"{BAY_2}/senml", lambda: b'[{"n":"gun-a/nozzle","u":"Pa","v":1}]'),
    Outcome.TIME: (
        f"{BAY_2}/senml",
        lambda: _pack(
            {"n": "gun-a/nozzle", "t": 100, "v": 1},  # 1970, as SenML would have it: relative
            {"n": "gun-a/nozzle", "t": 300_000_000, "v": 1},  # 1979
            {"n": "gun-a/nozzle", "t": 4_070_908_800, "v": 1},  # 2099
        ),
    ),
    Outcome.CONFLICT: (
        f"{BAY_2}/senml",
        lambda: _pack(
            {"n": "gun-a/nozzle", "t": 1_700_000_000, "v": 1},
            {"n": "gun-a/nozzle", "t": 1_700_000_000, "v": 2},
        ),
    ),
    Outcome.POINTER: ("shop/meter7", lambda: b"{}"),
    Outcome.WELD: (f"{BAY_2}/weld", lambda: b'{"event":"dance"}'),
    Outcome.NO_OPEN_WELD: (
        f"{BAY_2}/weld",
        lambda: b'{"event":"stop","gun":"a","time":"2026-05-01T00:00:00Z"}',
    ),
}


@pytest.mark.parametrize("outcome", HOSTILE)
def test_hostile_input_has_its_named_outcome_and_the_collector_goes_on(
    room: Room, outcome: Outcome
) -> None:
    topic, payload = HOSTILE[outcome]
    room.client.send(topic, payload())
    room.client.send(f"{BAY_2}/senml", _good(231.0))
    until(lambda: 231.0 in room.values())
    until(lambda: room.counts().get(outcome, 0) >= 1)
    rows = room.records.refusals.page(10).items
    assert {row.refused.outcome for row in rows} == {outcome.value}
    assert all(row.refused.remedy for row in rows)
    assert all(len(row.refused.payload) <= 4096 for row in rows)
    room.client.flush()  # the broker, too, has let it go
    assert room.collector.status().subscribed


def test_ten_thousand_unknown_channels_over_the_wire(room: Room) -> None:
    for number in range(10_000):
        room.client.send(f"{BAY_2}/senml", b'[{"n":"gun-a/u%d","v":1}]' % number)
    room.client.send(f"{BAY_2}/senml", _good(5.0))
    until(lambda: room.counts().get("unknown_channel") == 10_000, 60)
    until(lambda: room.values() == [5.0])


def test_a_message_without_time_that_comes_again_is_stored_once(room: Room) -> None:
    room.client.send("shop/dial", b"301.5")
    until(lambda: room.counts().get("accepted") == 1)
    room.collector.stop()
    again = Collector(room.plant_file, room.readings, room.records, room.url, room.data)
    again.start()
    assert again.wait_ready(10)
    again.stop()
    dial = ChannelId("north", "bay-2", "gun-a/set")
    assert sum(len(part) for part in room.readings.read(dial, 0, 2**62)) == 1


def test_the_plant_version_is_kept(room: Room) -> None:
    room.client.send(f"{BAY_2}/senml", _good(231.0))
    until(room.values)
    assert room.readings.latest([NOZZLE])[NOZZLE].plant == 1


def _json_of(message: bytes) -> dict[str, object]:
    data = json.loads(message)
    assert isinstance(data, dict)
    return data


def test_live_is_retained_for_whoever_comes_later(room: Room) -> None:
    room.client.send(f"{BAY_2}/senml", _good(231.0))
    until(room.values)
    port = room.url.rsplit(":", 1)[1]
    out = subprocess.run(
        ["mosquitto_sub", "-p", port, "-t", f"{BAY_2}/live", "-C", "3", "-W", "10"],
        capture_output=True, check=True,
    ).stdout  # fmt: skip
    assert [_json_of(line)["station"] for line in out.splitlines()] == ["north/bay-2"] * 3


def _in_memory(
    tmp_path: Path, url: str, readings: BreakableReadings, facts: MemoryFacts
) -> Collector:
    collector = Collector(load_plant_file(plant_file(tmp_path)), readings, facts, url, tmp_path)
    collector.start()
    assert collector.wait_ready(10)
    return collector


@pytest.mark.mosquitto
@needs_mosquitto
@pytest.mark.parametrize("store", ["readings", "facts"])
def test_a_store_that_is_out_delays_and_loses_nothing(tmp_path: Path, store: str) -> None:
    readings, facts = BreakableReadings(), MemoryFacts()
    with mosquitto(tmp_path) as broker, publisher(broker.url) as client:
        collector = _in_memory(tmp_path, broker.url, readings, facts)
        broken = readings if store == "readings" else facts
        broken.broken = 10**9
        for number in range(50):
            payload = _good(float(number)) if store == "readings" else b"nonsense %d" % number
            client.send(f"{BAY_2}/senml", payload)
        client.flush()
        until(lambda: not collector.status().store_ok)
        assert collector.status().last_error.startswith(
            "the disk is full" if store == "readings" else "the records are out"
        )
        assert readings.latest([NOZZLE]) == {}
        broken.broken = 0
        until(lambda: sum(collector.status().counts.values()) == 50)
        until(lambda: collector.status().store_ok)
        assert collector.status().last_error == ""
        collector.stop()
    if store == "facts":
        assert sum(count for _, count in facts.refused.values()) == 50


@pytest.mark.mosquitto
@needs_mosquitto
def test_it_stops_soon_while_a_store_is_out_and_the_rest_comes_again(tmp_path: Path) -> None:
    readings, facts = BreakableReadings(), MemoryFacts()
    with mosquitto(tmp_path) as broker, publisher(broker.url) as client:
        collector = _in_memory(tmp_path, broker.url, readings, facts)
        readings.broken = 10**9
        client.send(f"{BAY_2}/senml", _good(7.0))
        until(lambda: not collector.status().store_ok)
        before = time.monotonic()
        collector.stop()
        assert time.monotonic() - before < 4
        readings.broken = 0
        collector = _in_memory(tmp_path, broker.url, readings, facts)
        until(lambda: NOZZLE in readings.latest([NOZZLE]))
        collector.stop()


@pytest.mark.mosquitto
@needs_mosquitto
def test_alarms_that_a_broker_keeps_from_an_earlier_run_are_cleared(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as broker, publisher(broker.url) as client:
        client.send(f"{BAY_2}/alarm/long-gone", b'{"id":"long-gone"}', retain=True)
        client.flush()
        collector = _in_memory(tmp_path, broker.url, BreakableReadings(), MemoryFacts())
        ask = ["mosquitto_sub", "-p", str(broker.port), "-t", f"{BAY_2}/alarm/+", "-W", "1"]
        until(lambda: subprocess.run(ask, capture_output=True, check=False).stdout == b"")
        collector.stop()


@pytest.mark.mosquitto
@needs_mosquitto
def test_a_client_that_is_not_ours_is_heard(room: Room) -> None:
    port = room.url.rsplit(":", 1)[1]
    place = ["mosquitto_pub", "-p", port, "-q", "1", "-t", f"{BAY_2}/senml"]
    subprocess.run([*place, "-m", _good(299.5).decode()], check=True)
    until(lambda: room.values() == [299.5])


# The lock


def test_one_process_locks_the_folder(tmp_path: Path) -> None:
    holder = (
        "import sys; from pathlib import Path\n"
        "from steadybead_collector.locking import lock_folder\n"
        "with lock_folder(Path(sys.argv[1])):\n"
        "    print('held', flush=True); sys.stdin.read()\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", holder, str(tmp_path)], text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    with process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        with (
            pytest.raises(LockError, match=rf"process {process.pid} is using"),
            lock_folder(tmp_path),
        ):
            pytest.fail("two processes hold the folder")
        process.kill()
    with lock_folder(tmp_path):
        pass


# The command `check`


def _listening(port: int) -> str:
    return PLANT + f'[mqtt]\nurl = "mqtt://127.0.0.1:{port}"\n'


@pytest.mark.mosquitto
@needs_mosquitto
def test_check_says_what_is_heard_and_what_is_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with mosquitto(tmp_path) as broker, publisher(broker.url) as client:
        config = plant_file(tmp_path, _listening(broker.port))
        client.send("shop/dial", b"305", retain=True)
        client.send(f"{BAY_2}/senml", b'[{"n":"gun-a/nozzle","u":"Pa","v":1}]', retain=True)
        client.flush()
        assert check(config, 1.0) == 1
    out = capsys.readouterr().out
    assert "heard      north/bay-2/gun-a/set" in out
    assert "305 Cel = 305 Cel (bad, clock), 1 readings" in out
    assert "not heard  north/bay-2/gun-a/nozzle     it came, but was refused" in out
    assert "not heard  north/bay-1/gun-a/nozzle     no record named gun-a/nozzle" in out
    assert "1 x unit: unit of gun-a/nozzle: unit 'Pa' does not fit" in out
    assert "1 of 8 channels heard" in out


@pytest.mark.mosquitto
@needs_mosquitto
def test_check_is_content_when_everything_is_heard(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with mosquitto(tmp_path) as broker, publisher(broker.url) as client:
        config = plant_file(tmp_path, _listening(broker.port))
        names = ["nozzle", "terminal", "flow", "stand"]
        records: list[dict[str, object]] = [{"n": f"gun-a/{n}", "v": 0.5} for n in names]
        records.append({"n": "blower/pressure", "v": 8})
        client.send("steadybead/v1/north/bay-1/senml", _pack(*records), retain=True)
        client.send(f"{BAY_2}/senml", _good(300), retain=True)
        client.send("shop/dial", b"305", retain=True)
        client.send("shop/meter7", b'{"flow":{"now":1}}', retain=True)
        client.flush()
        assert check(config, 20.0) == 0
    assert "8 of 8 channels heard" in capsys.readouterr().out


def test_check_starts_a_broker_for_the_while(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = plant_file(tmp_path, PLANT + '[mqtt]\nlisten = "127.0.0.1:0"\n')
    assert check(config, 0.2) == 1
    assert "no broker is running: listening on mqtt://127.0.0.1:" in capsys.readouterr().out


def test_check_of_a_broker_that_is_not_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("steadybead_collector.check._CONNECT_S", 0.5)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        config = plant_file(tmp_path, _listening(probe.getsockname()[1]))
        assert check(config, 1.0) == 1
    assert "no broker at 127.0.0.1" in capsys.readouterr().err


def test_check_of_a_wrong_file_gives_one_line_on_stderr_and_all_mistakes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = plant_file(tmp_path, PLANT.replace("Lisbon", "Lisboa").replace('"kPa"', '"x"'))
    assert check(config, 1.0) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert "line 3: " in captured.err
    assert len(captured.out.splitlines()) == 2
