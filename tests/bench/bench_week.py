"""Whether memory stays flat: collector and API in one process over a simulated week, 400 channels.

Fifty stations of eight channels send a pack of ten minutes, a reading of each channel every twenty
seconds; it goes through decoding, store, diagnosis, records and the live board, and each simulated
hour a browser asks for pages and curves. Nobody waits: the clock is turned on. A day of ten
stations beside it tells what a station adds. Each run is a process of its own.
"""

import gc
import json
import math
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import orjson

from api_server import served
from bench.bench_capacity import CHANNELS, START, plant_file
from bench.store_support import figure, resident_mb
from steadybead_api.app import create_app
from steadybead_api.live_board import LiveBoard
from steadybead_api.services import AccessPolicy, Services
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.records.store import open_records
from steadybead_collector.stores import open_readings
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND, format_rfc3339

ROOT = "steadybead/v1"
PACK, STEP = 10 * MINUTE, 20 * SECOND
FEW, MANY, SETTLED = 10, 50, 1  # stations; days until caches are full
SAVES = 10  # states saved after each round of packs
GOAL_MB, GOAL_GROWTH = 300.0, 1.05


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; minutes."""
    few, many, days = (1, 2, 0.02) if short else (FEW, MANY, 7.0)
    week = apart(many, days)
    alone = apart(few, min(days, SETTLED))
    settled = week[0] if short else week[2 * SETTLED - 1]
    rows = [
        figure("week: memory of collector and API at 400 channels", max(week), "MB", GOAL_MB),
        figure("week: memory after the first day", settled, "MB"),
        figure(
            "week: memory at its end over that after a day", week[-1] / settled, "", GOAL_GROWTH
        ),
        figure("week: memory a station adds", (settled - alone[-1]) / (many - few), "MB"),
    ]
    return [row | {"goal": None, "met": None} for row in rows] if short else rows


def apart(stations: int, days: float) -> list[float]:
    """Give the memory in MB at each half day, of a process of its own."""
    words = [sys.executable, "-m", "bench.bench_week", str(stations), str(days)]
    ways = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(words, stdout=subprocess.PIPE, check=True, env=ways)
    found: list[float] = json.loads(done.stdout)
    return found


def run(stations: int, days: float) -> list[float]:
    """Let the days pass; give the memory in MB at each half day and at the end."""
    found: list[float] = []
    with tempfile.TemporaryDirectory(prefix="bench-week-") as text:
        folder, now = Path(text), [START]
        file = plant_file(folder, stations)
        records = open_records("sqlite", folder, lambda: now[0])
        readings = open_readings("sqlite", folder, file.plant)
        board = LiveBoard(lambda: file.plant, lambda: now[0])

        def publish(topic: str, payload: bytes) -> bool:
            board.take(topic.removeprefix(f"{ROOT}/"), payload, retained=False)
            return True

        pipeline = Pipeline(file.plant, ROOT, readings, records, publish)
        pipeline.open()
        policy = AccessPolicy("open")
        services = Services(
            readings, records, lambda: file.plant, board, policy, lambda: now[0], data_dir=folder
        )
        with (
            served(create_app(services), services.stopping) as address,
            httpx.Client(base_url=address, timeout=120) as http,
        ):
            for number in range(round(days * DAY / PACK)):
                now[0] += PACK
                pipeline.feed(list(packs(stations, number, now[0])))
                for turn in range(SAVES):
                    pipeline.tick(now[0] + turn)
                while readings.maintain():
                    pass
                if number % (HOUR // PACK) == 0:
                    look(http, now[0])
                if (number + 1) % (DAY // 2 // PACK) == 0:
                    found.append(memory_mb())
        found.append(memory_mb())
        readings.close()
        records.close()
    return found


def packs(stations: int, number: int, received: int) -> Iterator[Message]:
    """Make the packs of one round, one a station."""
    steps = PACK // STEP
    for station in range(stations):
        lines: list[dict[str, object]] = []
        for i, (name, _, unit, usual) in enumerate(CHANNELS):
            lines += [
                {
                    "n": name,
                    "u": unit,
                    "t": step * STEP / SECOND,
                    "v": value(number, step, i, usual),
                }
                for step in range(steps)
            ]
        lines[0]["bt"] = (received - PACK) / SECOND
        topic = f"{ROOT}/north/bay-{station}/senml"
        identity = (number * stations + station) % 65_535 + 1
        yield Message(topic, orjson.dumps(lines), received + station, identity)


def value(number: int, step: int, channel: int, usual: float) -> float:
    """Give a value that sways."""
    return round(usual + math.sin(0.7 * number + 0.2 * step + channel), 2)


def look(http: httpx.Client, now: int) -> None:
    """Ask for what people have open."""
    for page in ("", "maintenance", "alarms", "api/v1/stations", "metrics"):
        http.get(f"/{page}").raise_for_status()
    span = {"start": format_rfc3339(now - HOUR), "end": format_rfc3339(now), "points": "2000"}
    channel = f"north/bay-0/{CHANNELS[0][0]}"
    http.get("/api/v1/readings", params={"channel": channel, **span}).raise_for_status()


def memory_mb() -> float:
    """Give the memory of this process after what is loose has gone."""
    gc.collect()
    return resident_mb()


if __name__ == "__main__":
    sys.stdout.write(json.dumps(run(int(sys.argv[1]), float(sys.argv[2]))))
