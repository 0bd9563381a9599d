"""How fast packs become durable readings.

Packs of ten SenML records, two of them converted (thermocouple with its cold junction), go through
decoding, rules, conversion and the SQLite store; no network.
"""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import orjson

from fakes_ingest import NOW, MemoryFacts
from plants_ingest import plant_file
from steadybead_collector.config import load_plant_file
from steadybead_collector.ingest import shapes
from steadybead_collector.ingest.commit import Ingest
from steadybead_collector.ingest.intake import Intake
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.mqtt.senml import decode_json
from steadybead_collector.stores import open_readings

TOPIC = "steadybead/v1/north/bay-1/senml"


Figure = dict[str, Any]


def packs(count: int) -> list[Message]:
    """Make packs: five instants 0.2 s apart of two channels each."""
    made = []
    for number in range(count):
        base = NOW / 1e6 - 2 * count + number
        records: list[dict[str, object]] = []
        for step in range(5):
            records += [
                {"n": "nozzle", "t": 0.2 * step, "v": 8.1 + number % 100 / 100},
                {"n": "terminal", "u": "Cel", "t": 0.2 * step, "v": 25.0 + step / 100},
            ]
        records[0] |= {"bn": "gun-a/", "bt": base}
        made.append(Message(TOPIC, orjson.dumps(records), NOW + number, number % 65_535 + 1))
    return made


def rate(count: int, work: Callable[[], None]) -> float:
    """Run once; give readings a second."""
    start = time.perf_counter()
    work()
    return 10 * count / (time.perf_counter() - start)


def decode_all(messages: list[Message]) -> None:
    """Decode, and do nothing else."""
    for message in messages:
        decode_json(message.payload)


def parse_all(messages: list[Message]) -> None:
    """Parse the JSON, and do nothing else: the reference."""
    for message in messages:
        orjson.loads(message.payload)


def commit_rate(messages: list[Message], size: int) -> float:
    """Commit in batches into a fresh SQLite store; give readings a second."""
    with tempfile.TemporaryDirectory() as folder:
        plant = load_plant_file(plant_file(Path(folder))).plant
        readings = open_readings("sqlite", Path(folder), plant)
        ingest = Ingest(plant, "steadybead/v1", readings, MemoryFacts(), Receipts())
        ingest.commit(messages[:1])
        ingest.counts.clear()

        def run() -> None:
            for at in range(1, len(messages), size):
                ingest.commit(messages[at : at + size])

        found = rate(len(messages) - 1, run)
        if dict(ingest.counts) != {"accepted": 10 * (len(messages) - 1), "duplicate": 0}:
            raise SystemExit(f"wrong outcome: {ingest.counts}")
        readings.close()
    return found


def feed_s(messages: list[Message], most_shapes: int) -> float:
    """Time decoding and conversion alone, with forms of pack learnt or not; give seconds."""
    with tempfile.TemporaryDirectory() as folder:
        plant = load_plant_file(plant_file(Path(folder))).plant
    before, shapes.MOST_SHAPES = shapes.MOST_SHAPES, most_shapes
    try:
        intake = Intake(plant, "steadybead/v1", Receipts())
        start = time.perf_counter()
        for at in range(0, len(messages), 1000):
            batch = messages[at : at + 1000]
            intake.take(batch, intake.decode(batch), {})
        return time.perf_counter() - start
    finally:
        shapes.MOST_SHAPES = before


def main(short: bool) -> list[Figure]:
    """Run all; `short` only shows that it works."""
    messages = packs(1_000 if short else 20_000)
    parsed = rate(len(messages), lambda: parse_all(messages))
    figures = [
        figure("ingest: JSON parsed and dropped, readings", parsed, "1/s"),
        figure(
            "ingest: SenML decoding, time over parsing the JSON",
            parsed / rate(len(messages), lambda: decode_all(messages)),
            "",
        ),
    ]
    long_way, short_way = feed_s(messages, 0), feed_s(messages, shapes.MOST_SHAPES)
    name = "ingest: packs of a known form, time over record by record"
    figures.append(figure(name, short_way / long_way, ""))
    for size in (10, 100, 1000):
        durable = commit_rate(messages, size)
        name = f"ingest: durable readings, {size} packs of 10 a batch"
        figures.append(figure(name, durable, "1/s"))
    return figures


def figure(name: str, value: float, unit: str) -> Figure:
    """Make one line of the report."""
    return {"name": name, "value": value, "unit": unit, "goal": None, "met": None}
