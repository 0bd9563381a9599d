"""The whole product as its users start it, with a client and a broker that are not ours."""

import csv
import io
import json
import subprocess
import threading
import time
from pathlib import Path

import pytest

from brokers_ingest import mosquitto, needs_mosquitto, publisher, until
from steadybead_domain.times import format_rfc3339
from whole_process import Server, server, write_plant

TOPIC = "steadybead/v1/north/bay-1/senml"
NOZZLE = "north/bay-1/gun-a/nozzle"


def mosquitto_pub(port: int, topic: str, payload: str) -> None:
    subprocess.run(
        ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(port), "-q", "1", "-t", topic, "-s"],
        input=payload,
        text=True,
        check=True,
        timeout=20,
    )


def hot_gun(nozzle_mv: float = 12.874239) -> str:
    """A pack of a gun at 340 °C, terminal at 25 °C, and 50 L/min on a 0 to 100 L/min loop."""
    return json.dumps(
        [
            {"bt": time.time(), "n": "gun-a/nozzle", "u": "mV", "v": nozzle_mv},
            {"n": "gun-a/terminal", "u": "Cel", "v": 25.0},
            {"n": "gun-a/flow", "u": "mA", "v": 12.0},
            {"n": "gun-a/output", "u": "%", "v": 55.0},
        ]
    )


@needs_mosquitto
@pytest.mark.mosquitto
def test_from_a_foreign_client_to_page_alarm_and_trace(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as broker:
        plant = write_plant(tmp_path, broker.url)
        data = str(tmp_path / "data")
        with server("run", "--config", str(plant), "--data", data, "--port", "0") as running:
            get = running.client.get
            tell(broker.port, {"event": "start", "job": "4711", "seam": "12"})
            # 354.5 °C by NIST Monograph 175: 20 K above the middle, past the window's 340 °C
            stop = threading.Event()

            def lay() -> None:
                while not stop.wait(0.3):
                    mosquitto_pub(broker.port, TOPIC, hot_gun(13.48))

            mosquitto_pub(broker.port, TOPIC, hot_gun())
            until(lambda: get("api/v1/readings", params=whole(NOZZLE)).json()["items"])
            reading = get("api/v1/readings", params=whole(NOZZLE)).json()["items"][0]
            # NIST Monograph 175, type K: 13.874481 mV at 340 °C less 1.000242 mV at 25 °C.
            assert reading["value"] == pytest.approx(340.0, abs=0.06)
            assert (reading["unit"], reading["quality"]) == ("Cel", "good")
            flow = get("api/v1/readings", params=whole("north/bay-1/gun-a/flow")).json()["items"]
            assert flow[0]["value"] == pytest.approx(50.0)
            laying = threading.Thread(target=lay)
            laying.start()
            try:
                until(lambda: kinds(running) & {"heat_high"}, 60.0)
            finally:
                stop.set()
                laying.join()
            assert "north/bay-1" in get("/").text or "bay-1" in get("/").text
            tell(broker.port, {"event": "stop"})
            until(lambda: get("api/v1/welds").json()["items"][0]["stop"] is not None)
            weld = get("api/v1/welds").json()["items"][0]
            assert (weld["job"], weld["seam"], weld["gun"]) == ("4711", "12", "a")
            trace = get(f"api/v1/welds/{weld['id']}/trace").json()
            assert "gun-a/nozzle" in json.dumps(trace)
            metrics = get("metrics").text
            assert 'steadybead_collector_records_total{outcome="accepted"}' in metrics
            assert "steadybead_collector_subscribed 1.0" in metrics
            assert running.stop() == 0


def tell(port: int, event: dict[str, str]) -> None:
    """Send a weld event of gun a, as a scanner would."""
    time_now = format_rfc3339(time.time_ns() // 1000)
    message = json.dumps({"gun": "a", "time": time_now, **event})
    mosquitto_pub(port, "steadybead/v1/north/bay-1/weld", message)


def whole(channel: str) -> dict[str, str]:
    return {"channel": channel, "start": "2020-01-01T00:00:00Z", "end": "2099-01-01T00:00:00Z"}


def kinds(running: Server) -> set[str]:
    items = running.client.get("api/v1/alarms").json()["items"]
    return {item["kind"] for item in items}


def test_sigterm_ends_within_five_seconds_with_live_connections_open(tmp_path: Path) -> None:
    plant = write_plant(tmp_path, None)
    with (
        server("run", "--config", str(plant), "--port", "0") as running,
        running.client.stream("GET", "api/v1/live") as stream,
    ):
        assert stream.status_code == 200
        next(stream.iter_lines())
        began = time.monotonic()
        running.process.terminate()
        assert running.process.wait(5.0) == 0
        assert time.monotonic() - began < 5.0


def stored(running: Server, channel: str) -> list[int]:
    """Give the raw numbers of all readings, by CSV."""
    answer = running.client.get(
        "api/v1/readings", params=whole(channel), headers={"Accept": "text/csv"}
    )
    assert answer.status_code == 200
    return [round(float(row["value"])) for row in csv.DictReader(io.StringIO(answer.text))]


def broker_url(running: Server) -> str:
    return next(word for word in running.line.split() if word.startswith("mqtt://"))


def test_sigkill_of_the_whole_process_loses_and_doubles_nothing(tmp_path: Path) -> None:
    plant = write_plant(tmp_path, None)
    words = ("run", "--config", str(plant), "--port", "0")
    acknowledged: set[int] = set()
    sent = 0
    base = time.time() - 3600
    for round_number in range(3):
        running = Server(*words)
        until(running.ready, 30.0)
        with publisher(broker_url(running)) as client:
            began = time.monotonic()
            while time.monotonic() - began < 1.5 + 0.4 * round_number:
                for _ in range(20):
                    record = {"n": "air/filter", "u": "Pa", "t": base + sent / 1000, "v": sent}
                    client.send(TOPIC, json.dumps([record]).encode(), number=sent)
                    sent += 1
                threading.Event().wait(0.01)
            running.kill()
            acknowledged |= set(client.acknowledged)
    assert len(acknowledged) > 1000
    with server(*words) as running:
        channel = "north/bay-1/air/filter"
        until(lambda: acknowledged <= set(stored(running, channel)), 30.0)
        numbers = stored(running, channel)
    assert len(numbers) == len(set(numbers))
    assert set(numbers) <= set(range(sent))
