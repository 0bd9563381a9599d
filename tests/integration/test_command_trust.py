"""From a foreign client's mV, mA and pulses to the page; a calibration on the way."""

import contextlib
import json
import re
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from brokers_ingest import Mosquitto, mosquitto, needs_mosquitto, publisher, until
from steadybead_domain.times import format_rfc3339
from whole_process import Server, call, server

pytestmark = [needs_mosquitto, pytest.mark.mosquitto]
TOPIC = "steadybead/v1/north/bay-1/senml"
NOZZLE = "north/bay-1/gun-a/nozzle"
FLOW = "north/bay-1/gun-a/flow"
AIR = "north/bay-1/gun-b/flow"
PLANT = """
[site]
id = "north"
timezone = "Europe/Lisbon"
[mqtt]
url = "{url}"
[access]
read = "open"
[[station]]
id = "bay-1"
procedure = "pp-speed-nozzle"
[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "mV"
conversion = {{ kind = "thermocouple", type = "K", cold_junction = "gun-a/terminal" }}
[[station.channel]]
id = "gun-a/terminal"
quantity = "terminal_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-a/set"
quantity = "set_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "mA"
position = "at the blower, before the valves"
conversion = {{ kind = "current_loop", at_4_ma = 0.0, at_20_ma = 100.0, to = "L/min" }}
[[station.channel]]
id = "gun-b/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-b/flow"
quantity = "air_flow"
unit = "count"
conversion = {{ kind = "pulse", litres_per_pulse = 0.01 }}
"""
# NIST Monograph 175, type K: 13.874481 mV at 340 °C less 1.000242 mV at 25 °C
K_340_MV = 12.874239
# NIST Monograph 175: J wire at 340 °C (18.538 mV) with its terminal at 25 °C (1.277 mV)
J_340_MV = 17.261


def write_plant(folder: Path, broker: Mosquitto) -> Path:
    path = folder / "plant.toml"
    path.write_text(PLANT.format(url=broker.url), "utf-8")
    return path


def pack(at_s: float, count: int, nozzle_mv: float = K_340_MV) -> list[dict[str, Any]]:
    return [
        {"bt": at_s, "n": "gun-a/nozzle", "u": "mV", "v": nozzle_mv},
        {"n": "gun-a/terminal", "u": "Cel", "v": 25.0},
        {"n": "gun-a/set", "u": "Cel", "v": 340.0},
        {"n": "gun-a/flow", "u": "mA", "v": 12.0},
        {"n": "gun-b/nozzle", "u": "Cel", "v": 320.0},
        {"n": "gun-b/flow", "u": "count", "v": count},
    ]


def send(broker: Mosquitto, packs: list[list[dict[str, Any]]]) -> None:
    """Send each pack as one message of the foreign client `mosquitto_pub`, by lines."""
    lines = "\n".join(json.dumps(p) for p in packs)
    subprocess.run(
        ["mosquitto_pub", "-p", str(broker.port), "-q", "1", "-t", TOPIC, "-l"],
        input=lines,
        text=True,
        check=True,
        timeout=20,
    )


def readings(client: httpx.Client, channel: str, figures: str = "recorded") -> list[dict[str, Any]]:
    span = {"start": "2020-01-01T00:00:00Z", "end": "2099-01-01T00:00:00Z"}
    query = {"channel": channel, "as": figures, **span}
    found: list[dict[str, Any]] = client.get("api/v1/readings", params=query).json()["items"]
    return found


def token(plant: Path, data: str) -> dict[str, str]:
    made = call("token", "--role", "quality", "--config", str(plant), "--data", data)
    assert made.returncode == 0, made.stderr
    return {"Authorization": f"Bearer {made.stdout.strip()}"}


def enter(running: Server, headers: dict[str, str], path: str, body: dict[str, Any]) -> None:
    answer = running.client.post(f"api/v1/{path}", json=body, headers=headers)
    assert answer.status_code == 201, answer.text


def test_mv_ma_and_pulses_reach_the_page_and_a_calibration_moves_only_the_recalibrated(
    tmp_path: Path,
) -> None:
    with mosquitto(tmp_path) as broker:
        plant, data = write_plant(tmp_path, broker), str(tmp_path / "data")
        with server("run", "--config", str(plant), "--data", data, "--port", "0") as running:
            client, start = running.client, time.time() - 15
            # 100 pulses of 0.01 L a second are 60 L/min
            send(broker, [pack(start + i, 100 * i) for i in range(15)])
            until(lambda: len(readings(client, AIR)) == 15)
            hot = readings(client, NOZZLE)
            assert [r["value"] for r in hot] == [pytest.approx(340.0, abs=0.06)] * 15
            assert {r["value"] for r in readings(client, FLOW)} == {50.0}
            air = readings(client, AIR)
            assert (air[0]["value"], air[0]["reason"]) == (None, "counter restart")
            assert [r["value"] for r in air[1:]] == [pytest.approx(60.0, abs=0.01)] * 14

            page = client.get("/sensors").text
            assert re.search(r">340 °C<.*?± 6\.\d °C<", page, re.DOTALL)
            assert "50.0 L/min" in page
            assert "60.0 L/min" in page
            assert "at the blower, before the valves" in client.get(f"/sensors/{FLOW}").text

            headers = token(plant, data)
            instrument = {"id": "tc", "serial": "K-1", "kind": "type K", "unit": "Cel"}
            enter(running, headers, "instruments", {**instrument, "tolerance": 2.0})
            fitting = {"channel": NOZZLE, "start": format_rfc3339(int((start - 9) * 1e6))}
            enter(running, headers, "instruments/tc/fittings", fitting)
            calibration = {
                "instrument": "tc",
                "performed": format_rfc3339(int((start + 5) * 1e6)),
                "kind": "two-point",
                "unit": "Cel",
                "points": [
                    {"reference": 200.0, "as_found": 204.0},
                    {"reference": 400.0, "as_found": 404.0},
                ],
                "expanded_uncertainty": 0.8,
                "reference_instrument": "block 3",
            }
            enter(running, headers, "calibrations", calibration)
            assert readings(client, NOZZLE) == hot
            moved = [
                b["value"] - a["value"]
                for a, b in zip(hot, readings(client, NOZZLE, "recalibrated"), strict=True)
            ]
            assert moved == [0.0] * 5 + [pytest.approx(-4.0)] * 10
            page = client.get(f"/sensors/{NOZZLE}").text
            assert "K-1" in page
            assert "336.0" in page
            assert running.stop() == 0
        with server("run", "--config", str(plant), "--data", data, "--port", "0") as again:
            assert readings(again.client, NOZZLE) == hot
            found = readings(again.client, NOZZLE, "recalibrated")
            assert found[-1]["value"] == pytest.approx(hot[-1]["value"] - 4.0)


def test_check_and_findings_name_j_wire_read_as_k(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as broker:
        plant, data = write_plant(tmp_path, broker), str(tmp_path / "data")
        with server("run", "--config", str(plant), "--data", data, "--port", "0") as running:
            start = time.time() - 4
            send(broker, [pack(start + i, 100 * i, J_340_MV) for i in range(5)])
            until(lambda: len(readings(running.client, NOZZLE)) == 5)
            assert readings(running.client, NOZZLE)[0]["value"] == pytest.approx(442.0, abs=12.0)
            items = running.client.get("api/v1/findings").json()["items"]
            (hint,) = [i for i in items if i["kind"] == "wiring_implausible"]
            assert hint["channel"] == NOZZLE
            assert "the wire is probably type J" in hint["words"] + hint["next_step"]
            assert "write type = &#34;J&#34;" in running.client.get(f"/sensors/{NOZZLE}").text
            assert running.stop() == 0
        with sending(broker):
            said = call("check", "--config", str(plant)).stdout
        assert "6 of 6 channels heard" in said
        assert "the wire is probably type J" in said


@contextlib.contextmanager
def sending(broker: Mosquitto) -> Iterator[None]:
    """Send a pack five times a second, as a station does."""
    ended = threading.Event()

    def run() -> None:
        with publisher(broker.url) as client:
            count = 0
            while not ended.wait(0.2):
                count += 1
                client.send(TOPIC, json.dumps(pack(time.time(), count, J_340_MV)).encode())

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join(10)
