"""What a station costs: processor and memory of the whole way from message to finding.

Stations of eight channels at 5 Hz, one SenML pack a second each, go through decoding, conversion,
store and diagnosis; no network to a broker. With InfluxDB installed, the same against a server,
its own processor time apart (Debian's 1.6.7 engine behind a path shim).
"""

import gc
import math
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import orjson
import psutil

import influx_server
from fakes_ingest import MemoryFacts
from steadybead_collector.config import PlantFile, load_plant_file
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.stores import open_readings
from steadybead_domain.ports import ReadingsStore
from steadybead_domain.times import SECOND

START = 1_780_000_000 * SECOND
HZ = 5
CHANNELS = (
    ("gun-a/nozzle", "nozzle_temperature", "Cel", 310.0),
    ("gun-a/set", "set_temperature", "Cel", 310.0),
    ("gun-a/output", "heater_output", "%", 55.0),
    ("gun-a/inlet", "gun_inlet_temperature", "Cel", 35.0),
    ("gun-a/flow", "air_flow", "L/min", 60.0),
    ("air/filter", "filter_pressure_drop", "Pa", 90.0),
    ("air/outlet", "outlet_pressure", "kPa", 6.0),
    ("air/supply", "supply_voltage", "V", 231.0),
)
Figure = dict[str, Any]


@dataclass
class Cost:
    """What one run took: seconds of processor, MB of memory grown, for how many readings."""

    cpu_s: float
    memory_mb: float
    readings: int
    server_cpu_s: float = 0.0


def plant_file(folder: Path, stations: int) -> PlantFile:
    """Write and load a plant of equal stations."""
    parts = ['[site]\nid = "north"\ntimezone = "Europe/Lisbon"\n']
    for number in range(stations):
        parts.append(f'[[station]]\nid = "bay-{number}"\nprocedure = "pp-speed-nozzle"\n')
        parts += [
            f'[[station.channel]]\nid = "{name}"\nquantity = "{quantity}"\nunit = "{unit}"\n'
            for name, quantity, unit, _ in CHANNELS
        ]
    file = folder / "plant.toml"
    file.write_text("\n".join(parts))
    return load_plant_file(file)


def packs(stations: int, second: int) -> list[Message]:
    """Make the packs of one second, one a station."""
    base = START / SECOND + second
    made = []
    for number in range(stations):
        records: list[dict[str, object]] = []
        for i, (name, _, unit, usual) in enumerate(CHANNELS):
            wave = math.sin(0.1 * second + number + i)
            records += [
                {"n": name, "u": unit, "t": step / HZ, "v": round(usual + wave + 0.01 * step, 2)}
                for step in range(HZ)
            ]
        records[0]["bt"] = base
        topic = f"steadybead/v1/north/bay-{number}/senml"
        received = START + (second + 1) * SECOND
        identity = (second * stations + number) % 65_535 + 1
        made.append(Message(topic, orjson.dumps(records), received, identity))
    return made


def run(file: PlantFile, readings: ReadingsStore, stations: int, seconds: int) -> Cost:
    """Feed so many seconds; the first ten are not counted."""
    pipeline = Pipeline(
        file.plant, "steadybead/v1", readings, MemoryFacts(), lambda _topic, _payload: True
    )
    pipeline.open()
    process = psutil.Process()
    gc.collect()
    before = process.memory_info().rss
    cpu_s = 0.0
    for second in range(seconds + 10):
        messages = packs(stations, second)
        begun = time.process_time()
        pipeline.feed(messages)
        pipeline.tick(START + (second + 1) * SECOND)
        while readings.maintain():
            pass
        if second >= 10:
            cpu_s += time.process_time() - begun
    grown_mb = (process.memory_info().rss - before) / 2**20
    return Cost(cpu_s, grown_mb, seconds * stations * len(CHANNELS) * HZ)


def embedded(stations: int, seconds: int) -> Cost:
    """Run on the embedded store."""
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        file = plant_file(folder, stations)
        readings = open_readings("sqlite", folder, file.plant)
        cost = run(file, readings, stations, seconds)
        readings.close()
    return cost


def on_server(stations: int, seconds: int) -> Cost:
    """Run on a readings server."""
    with tempfile.TemporaryDirectory() as text, influx_server.readings_server() as gate:
        file = plant_file(Path(text), stations)
        with engine_watched() as watch:
            readings = open_readings(gate.store_url(), Path(text), file.plant)
            cost = run(file, readings, stations, seconds)
            readings.close()
            cost.server_cpu_s = watch()
    return cost


@contextmanager
def engine_watched() -> Iterator[Callable[[], float]]:
    """Give the processor seconds that the engine has taken since."""
    engines = [c for c in psutil.Process().children() if "influxd" in c.name()]

    def taken() -> float:
        times = [engine.cpu_times() for engine in engines]
        return sum(t.user + t.system for t in times)

    start = taken()
    yield lambda: taken() - start


def main(short: bool) -> list[Figure]:
    """Run all; `short` only shows that it works."""
    seconds = 5 if short else 120
    figures: list[Figure] = []
    for stations in (1, 2) if short else (1, 10, 40):
        cost = embedded(stations, seconds)
        name = f"{stations} stations, embedded"
        figures += _rows(name, cost)
        if stations > 1:
            each = cost.memory_mb / stations
            figures.append(_figure(f"capacity: memory a station, {name}", each, "MB"))
    if influx_server.why_not() is None:
        stations = 2 if short else 10
        cost = on_server(stations, seconds)
        name = f"{stations} stations, readings server"
        figures += _rows(name, cost)
        server_ms = 1e6 * cost.server_cpu_s / cost.readings
        label = f"capacity: processor of the server a 1,000 readings, {name}"
        figures.append(_figure(label, server_ms, "ms"))
    return figures


def _rows(name: str, cost: Cost) -> list[Figure]:
    each_ms = 1e6 * cost.cpu_s / cost.readings
    return [_figure(f"capacity: processor a 1,000 readings, {name}", each_ms, "ms")]


def _figure(name: str, value: float, unit: str) -> Figure:
    return {"name": name, "value": value, "unit": unit, "goal": None, "met": None}
