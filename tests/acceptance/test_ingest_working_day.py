"""A working day of eight stations on virtual time, from MQTT messages to alarms on the broker.

The shop is made by hand here, minute by minute, so that what must come out is known: bay-3 loses
its air while hot at 10:00, bay-5 falls silent at 11:00 for ten minutes, bay-6 sends a wrong unit
for a minute, bay-7 repeats every message.
"""

import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import orjson
import pytest

from fakes_ingest import MemoryFacts
from plants_ingest import plant_file
from steadybead_collector.config import load_plant_file
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.outcomes import Outcome
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.ids import ChannelId
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.times import HOUR, MINUTE, SECOND, parse_rfc3339

DAY_START = parse_rfc3339("2026-05-28T07:00:00Z")
HOURS = 8
STATIONS = 8
PROCEDURE = Procedure(
    "shop-pp",
    "PP round nozzle",
    "PP",
    "642",
    Window(295.0, 325.0, "Cel"),
    Window(250.0, 350.0, "L/min"),
    FlowReference.ACTUAL,
    "made up for this test",
    "1",
)
STATION = """
[[station]]
id = "bay-{number}"
procedure = "shop-pp"
[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"
[[station.channel]]
id = "gun-a/output"
quantity = "heater_output"
unit = "%"
"""


def _plant(folder: Path) -> Path:
    stations = "".join(STATION.format(number=n) for n in range(1, STATIONS + 1))
    return plant_file(folder, '[site]\nid = "north"\ntimezone = "UTC"\n' + stations)


def _values(station: int, at: int, noise: float) -> tuple[float, float, float]:
    """Give nozzle °C, flow L/min and heater output % at a time of the day."""
    warm = min(1.0, at / (10 * MINUTE))
    if at > HOURS * HOUR - 30 * MINUTE:
        return 60.0 + noise, 300.0 + noise, 0.0
    if station == 3 and 3 * HOUR <= at < 3 * HOUR + MINUTE:
        return 310.0 - at % MINUTE / SECOND, 5.0, 60.0
    return 25.0 + 285.0 * warm + noise, 300.0 + noise, 55.0 if warm == 1.0 else 100.0


def _minute(station: int, minute: int, mids: Iterator[int]) -> list[Message]:
    """Send a pack every two seconds, with one reading of each channel a second."""
    topic = f"steadybead/v1/north/bay-{station}/senml"
    if station == 5 and 240 <= minute < 250:
        return []
    messages = []
    noise = np.random.default_rng([station, minute]).normal(0, 0.5, 60).round(2)
    for second in range(0, 60, 2):
        base = DAY_START + minute * MINUTE + second * SECOND
        records: list[dict[str, object]] = []
        for step in (0, 1):
            at = base + step * SECOND - DAY_START
            heat, flow, output = _values(station, at, float(noise[second + step]))
            unit = "Pa" if station == 6 and minute == 100 else "Cel"
            records += [
                {"n": "gun-a/nozzle", "t": step, "u": unit, "v": heat},
                {"n": "gun-a/flow", "t": step, "v": flow},
                {"n": "gun-a/output", "t": step, "v": output},
            ]
        records[0]["bt"] = base // SECOND
        message = Message(topic, orjson.dumps(records), base + SECOND + 50_000, next(mids))
        messages += [message] * (2 if station == 7 else 1)
    return messages


@pytest.mark.slow
def test_a_working_day_of_eight_stations_in_under_a_minute(tmp_path: Path) -> None:
    started = time.process_time()
    plant = load_plant_file(_plant(tmp_path)).plant
    readings, facts = MemoryReadings(), MemoryFacts(changes=[PROCEDURE])
    broker: dict[str, bytes] = {}

    def publish(topic: str, payload: bytes) -> bool:
        broker[topic] = payload
        return True

    pipeline = Pipeline(plant, "steadybead/v1", readings, facts, publish)
    pipeline.open()
    mids = iter(range(1, 10**9))
    for minute in range(HOURS * 60):
        messages = [m for s in range(1, STATIONS + 1) for m in _minute(s, minute, mids)]
        messages.sort(key=lambda m: m.received)
        pipeline.feed(messages)
        pipeline.tick(DAY_START + (minute + 1) * MINUTE)
    pipeline.close(DAY_START + HOURS * HOUR)
    spent = time.process_time() - started
    _compare(pipeline, readings, facts, broker)
    assert spent < 60, f"{spent:.1f} s of processor time"


def _compare(
    pipeline: Pipeline, readings: MemoryReadings, facts: MemoryFacts, broker: dict[str, bytes]
) -> None:
    seconds = HOURS * 3600
    counts = pipeline.ingest.counts
    assert counts[Outcome.ACCEPTED] == 3 * seconds * STATIONS - 3 * 600 - 60
    assert counts[Outcome.DUPLICATE] == 3 * seconds
    assert counts[Outcome.UNIT] == 60
    nozzle = ChannelId("north", "bay-5", "gun-a/nozzle")
    assert sum(len(part) for part in readings.read(nozzle, 0, 2**62)) == seconds - 600
    raised = {(str(f.station), f.kind) for f in facts.alarm_facts.values() if f.active}
    assert any(place == "north/bay-3" and "air" in kind for place, kind in raised), raised
    assert any(place == "north/bay-5" and "silen" in kind for place, kind in raised), raised
    quiet = {place for place, _ in raised}
    assert quiet.isdisjoint({f"north/bay-{n}" for n in (1, 2, 4, 7, 8)}), raised
    live = {topic for topic, payload in broker.items() if topic.endswith("/live") and payload}
    assert len(live) == STATIONS
