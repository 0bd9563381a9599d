"""From a real broker to durable and judged, beside subscribers that only count.

A publisher without a client library sends packs of ten SenML records at QoS 1 through a real
Mosquitto. `steadybead run` decodes, converts, commits before it acknowledges, diagnoses and
publishes. The references take the same packets in the same run: a paho subscriber that counts and
acknowledges, and `mosquitto_sub` that writes to nowhere.
"""

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psutil

from brokers_ingest import Mosquitto, mosquitto
from raw_publisher import packets, save
from whole_process import Server

STATIONS, RECORDS, STEP_S, WINDOW = 40, 10, 0.2, 2000
GOAL_SHARE, GOAL_READINGS = 0.6, 100_000
COUPLE = 'conversion = { kind = "thermocouple", type = "K", cold_junction = "gun-a/terminal" }'
LOOP = 'conversion = { kind = "current_loop", at_4_ma = 0.0, at_20_ma = 100.0, to = "L/min" }'
CHANNELS = (
    ("gun-a/nozzle", "nozzle_temperature", "mV", COUPLE),
    ("gun-a/terminal", "terminal_temperature", "Cel", ""),
    ("gun-a/flow", "air_flow", "mA", LOOP),
    ("gun-a/set", "set_temperature", "Cel", ""),
    ("gun-a/output", "heater_output", "%", ""),
    ("gun-a/power", "heater_power", "W", ""),
    ("gun-a/inlet", "gun_inlet_temperature", "Cel", ""),
    ("blower/drop", "filter_pressure_drop", "Pa", ""),
    ("blower/pressure", "outlet_pressure", "Pa", ""),
    ("blower/supply", "supply_voltage", "V", ""),
)
LEVELS = (13.0, 25.0, 12.0, 330.0, 60.0, 900.0, 38.0, 90.0, 9000.0, 230.0)


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; needs mosquitto and mosquitto_sub."""
    count = 2_000 if short else 40_000
    with tempfile.TemporaryDirectory(prefix="bench-line-") as name:
        folder = Path(name)
        save(folder / "packets", packets(messages(count)))
        rounds = [
            (counting(folder, count), dropping(folder, count), collecting(folder, count))
            for _ in range(1 if short else 5)
        ]
    ceiling, plain, ours = (max(runs) for runs in zip(*rounds, strict=True))
    share = ours[0] / ceiling[0]
    rows = [
        figure("line: paho subscriber that only counts, messages", ceiling[0], "1/s"),
        figure("line: mosquitto_sub to nowhere, messages", plain[0], "1/s"),
        figure("line: durable, judged and acknowledged, messages", ours[0], "1/s"),
        figure("line: share of the paho subscriber's messages", share, "", GOAL_SHARE),
        figure("line: the same as readings", ours[0] * RECORDS, "1/s", GOAL_READINGS),
        figure("line: CPU a message, paho subscriber", ceiling[1], "µs"),
        figure("line: CPU a message, all of ours", ours[1], "µs"),
    ]
    return [row | {"goal": None, "met": None} for row in rows] if short else rows


def messages(count: int, stations: int = STATIONS) -> list[tuple[str, bytes]]:
    """Make packs: one instant of ten channels each, station after station, up to a minute ago."""
    start = time.time() - 60 - count // stations * STEP_S
    made = []
    for number in range(count):
        step, station = divmod(number, stations)
        records: list[dict[str, Any]] = [
            {"n": channel[0], "u": channel[2], "v": round(level * (1 + step % 7 / 500), 3)}
            for channel, level in zip(CHANNELS, LEVELS, strict=True)
        ]
        records[0]["bt"] = round(start + step * STEP_S, 3)
        payload = json.dumps(records, separators=(",", ":")).encode()
        made.append((f"steadybead/v1/north/bay-{station}/senml", payload))
    return made


def plant(url: str, stations: int = STATIONS) -> str:
    """Write the plant file of the stations."""
    lines = ['[site]\nid = "north"\ntimezone = "Europe/Lisbon"', f'[mqtt]\nurl = "{url}"']
    lines.append('[access]\nread = "open"')
    for station in range(stations):
        lines.append(f'[[station]]\nid = "bay-{station}"\nprocedure = "pp-speed-nozzle"')
        lines.append("[station.blower]\nintake_filter_limit_pa = 250")
        for name, quantity, unit, more in CHANNELS:
            lines.append(f'[[station.channel]]\nid = "{name}"\nquantity = "{quantity}"')
            lines.append(f'unit = "{unit}"\n{more}')
    return "\n".join(lines)


@contextlib.contextmanager
def broker() -> Iterator[Mosquitto]:
    """Give a fresh broker."""
    with (
        tempfile.TemporaryDirectory(prefix="bench-broker-") as folder,
        mosquitto(Path(folder)) as running,
    ):
        yield running


def counting(folder: Path, count: int) -> tuple[float, float]:
    """Time a paho subscriber that only counts and acknowledges."""
    with broker() as running:
        words = [sys.executable, "-m", "paho_counter", str(running.port), str(count)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, env=environment()) as process:
            assert process.stdout is not None
            process.stdout.readline()
            watched = psutil.Process(process.pid)
            before, began = cpu_s(watched), time.perf_counter()
            with publishing(running.port, folder):
                process.stdout.readline()
                used, took = cpu_s(watched) - before, time.perf_counter() - began
    return count / took, 1e6 * used / count


def dropping(folder: Path, count: int) -> tuple[float, float]:
    """Time mosquitto's own subscriber, which writes to nowhere; its CPU is not read."""
    program = shutil.which("mosquitto_sub")
    if program is None:
        raise SystemExit("mosquitto_sub is missing: install mosquitto-clients")
    with broker() as running:
        words = [program, "-h", "127.0.0.1", "-p", str(running.port), "-q", "1", "-c"]
        words += ["-i", "counter", "-t", "steadybead/v1/#"]
        subprocess.run([*words, "-E"], check=True, timeout=10)  # subscribes, and its session stays
        began = time.perf_counter()
        with (
            subprocess.Popen([*words, "-C", str(count)], stdout=subprocess.DEVNULL) as process,
            publishing(running.port, folder),
        ):
            if process.wait(120):
                raise SystemExit("mosquitto_sub failed")
            took = time.perf_counter() - began
    return count / took, 0.0


def collecting(folder: Path, count: int, stations: int = STATIONS) -> tuple[float, float]:
    """Time the product: until every reading is counted as accepted."""
    with serving(stations) as (server, port):
        watched = psutil.Process(server.process.pid)
        before, began = cpu_s(watched), time.perf_counter()
        with publishing(port, folder):
            wait(lambda: accepted(server) >= count * RECORDS)
            used, took = cpu_s(watched) - before, time.perf_counter() - began
    return count / took, 1e6 * used / count


@contextlib.contextmanager
def serving(stations: int = STATIONS) -> Iterator[tuple[Server, int]]:
    """Start a broker and `steadybead run` on it; give the latter and the broker's port."""
    with broker() as running, tempfile.TemporaryDirectory(prefix="bench-data-") as data:
        config = Path(data) / "plant.toml"
        config.write_text(plant(running.url, stations), "utf-8")
        server = Server("run", "--config", str(config), "--data", data, "--port", "0")
        try:
            wait(server.ready)
            yield server, running.port
        finally:
            server.kill()


@contextlib.contextmanager
def publishing(port: int, folder: Path) -> Iterator[None]:
    """Send all packets from a process of its own."""
    words = [sys.executable, "-m", "raw_publisher", str(port), str(folder / "packets")]
    with subprocess.Popen(
        [*words, str(WINDOW)], stdout=subprocess.DEVNULL, env=environment()
    ) as process:
        yield
        if process.wait(30):
            raise SystemExit("the publisher failed")


def accepted(server: Server) -> float:
    """Read how many records were taken in; SystemExit if any was refused."""
    found = 0.0
    for line in server.client.get("metrics").text.splitlines():
        name, _, value = line.rpartition(" ")
        if name == 'steadybead_collector_records_total{outcome="accepted"}':
            found = float(value)
        elif name.startswith("steadybead_collector_records_total") and float(value):
            raise SystemExit(f"not only accepted: {line}")
    return found


def wait(condition: Callable[[], bool], timeout_s: float = 180.0, look_s: float = 0.1) -> None:
    """Look every `look_s`."""
    end = time.monotonic() + timeout_s
    while not condition():
        if time.monotonic() > end:
            raise SystemExit("the bench waited in vain")
        threading.Event().wait(look_s)


def cpu_s(process: psutil.Process) -> float:
    """Give user and system time."""
    used = process.cpu_times()
    return float(used.user + used.system)


def environment() -> dict[str, str]:
    """Let processes of our own find what we find."""
    return {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}


def figure(name: str, value: float, unit: str, least: float | None = None) -> dict[str, Any]:
    """Make one line of the report; `least` is a lower goal."""
    met = None if least is None else value >= least
    return {
        "name": name, "value": value, "unit": unit, "goal": least, "met": met, "at_least": True,
    }  # fmt: skip
