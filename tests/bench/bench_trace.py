"""The trace of a weld record over HTTP, calm and while readings come in: 20 min, 8 channels, 5 Hz.

The reference reads the same readings from files of bytes and writes the same columns as text:
times by numpy, words by lookup, all of it by one call of the JSON library that is compiled. Then
forty stations send 2,000 readings a second through a real Mosquitto while the trace is asked for.
"""

import tempfile
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import orjson

from bench.bench_capacity import CHANNELS
from bench.bench_latency import Heard, listening, send
from bench.bench_line import broker, plant, wait
from bench.store_support import alternately, figure, timed
from records_samples import start, stop
from steadybead_collector.config import PlantFile, load_plant_file
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import open_readings
from steadybead_domain.ids import StationId
from steadybead_domain.readings import Batch, Columns, Float64, Int64
from steadybead_domain.times import MINUTE, SECOND
from steadybead_domain.welds import WeldEventKind
from whole_process import Server

STATION = StationId("north", "traced")
LENGTH, STEP = 20 * MINUTE, SECOND // 5
WORDS = np.array(["good", "uncertain", "bad"], object)
NO_REASON = np.array([""], object)
GOAL_RATIO, GOAL_MS = 3.0, 100.0
Ask = Callable[[], bytes]


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; needs mosquitto."""
    rounds, seconds = (2, 2.0) if short else (25, 30.0)
    with broker() as running, tempfile.TemporaryDirectory(prefix="bench-trace-") as name:
        folder = Path(name)
        config = folder / "plant.toml"
        config.write_text(plant(running.url) + traced_station(), "utf-8")
        wall = int(np.datetime64("now", "us").astype(np.int64))
        fill(folder, load_plant_file(config), wall - LENGTH - 5 * MINUTE)
        server = Server("run", "--config", str(config), "--data", str(folder), "--port", "0")
        try:
            wait(server.ready)
            with httpx.Client(base_url=server.address, timeout=60) as client:
                if 0.9 * len(reference(folder)) > len(ask(client)):
                    raise SystemExit("the trace is not whole")
                ours, plain = alternately(lambda: ask(client), lambda: reference(folder), rounds)
                with listening(running.port, Heard()) as publisher:
                    busy = while_sending(lambda: ask(client), lambda: send(publisher, seconds, {}))
        finally:
            server.kill()
    rows = [
        figure("trace: 20 min of 8 channels at 5 Hz over HTTP", 1e3 * ours, "ms"),
        figure("trace: the same from files, written by numpy", 1e3 * plain, "ms"),
        figure("trace: over HTTP over files and numpy", ours / plain, "", GOAL_RATIO),
        figure(
            "trace: 95 of 100 while 2,000 readings/s come in",
            1e3 * float(np.percentile(busy, 95)),
            "ms",
            GOAL_MS,
        ),
    ]
    return [row | {"goal": None, "met": None} for row in rows] if short else rows


def traced_station() -> str:
    """Write a station of eight channels as the plant file has it."""
    lines = [f'\n[[station]]\nid = "{STATION.station}"\nprocedure = "pp-speed-nozzle"\n']
    for channel, quantity, unit, _ in CHANNELS:
        lines.append(f'[[station.channel]]\nid = "{channel}"\nquantity = "{quantity}"\n')
        lines.append(f'unit = "{unit}"\n')
    return "".join(lines)


def fill(folder: Path, file: PlantFile, begin: int) -> None:
    """Put the weld and its readings into the stores, the same readings into plain files."""
    station = file.plant.station(STATION)
    assert station is not None
    draw, n = np.random.default_rng(20), LENGTH // STEP
    time = begin + np.arange(n, dtype=np.int64) * STEP
    zeros = np.zeros(n, np.uint8)
    readings = open_readings("sqlite", folder, file.plant)
    for number, (channel, (*_, usual)) in enumerate(zip(station.channels, CHANNELS, strict=True)):
        value = np.round(usual + np.cumsum(draw.normal(0.0, 0.02, n)), 2)
        rows = Columns(time, value, value, zeros, zeros, np.ones(n, np.uint32))
        readings.append(Batch(begin + LENGTH, {channel.id: rows}))
        (folder / f"{number}.bytes").write_bytes(time.tobytes() + value.tobytes() + bytes(2 * n))
    while readings.maintain():
        pass
    readings.close()
    records = open_records("sqlite", folder)
    for event in (start("traced", station=STATION), stop("traced", 0.0, station=STATION)):
        at = begin if event.kind is WeldEventKind.START else begin + LENGTH
        records.add_weld_event(replace(event, time=at))
    records.close()


def ask(client: httpx.Client) -> bytes:
    """Ask for the trace as the page does."""
    answer = client.get("/api/v1/welds/traced/trace").raise_for_status()
    return answer.content


def reference(folder: Path) -> bytes:
    """Read the files and write what the answer's columns say."""
    n = LENGTH // STEP
    channels = []
    for number in range(len(CHANNELS)):
        data = (folder / f"{number}.bytes").read_bytes()
        time: Int64 = np.frombuffer(data, np.int64, n)
        value: Float64 = np.frombuffer(data, np.float64, n, 8 * n)
        codes = np.frombuffer(data, np.uint8, 2 * n, 16 * n)
        texts = np.datetime_as_string(time.astype("datetime64[us]"), unit="us").tolist()
        channels.append(
            {
                "time": [f"{text}Z" for text in texts],
                "value": value,
                "quality": WORDS[codes[:n]].tolist(),
                "reason": NO_REASON[codes[n:]].tolist(),
            }
        )
    return orjson.dumps(channels, option=orjson.OPT_SERIALIZE_NUMPY)


def while_sending(ours: Ask, sending: Callable[[], None]) -> list[float]:
    """Give the seconds of each question for as long as the shop sends, five a second at most."""
    sender = threading.Thread(target=sending)
    sender.start()
    taken, pause = [], threading.Event()
    while sender.is_alive():
        taken.append(timed(ours))
        pause.wait(0.2)
    sender.join()
    return taken
