"""How soon values and alarms are told, on virtual time: what the rules cost, not the machine."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench.bench_line import CHANNELS, LEVELS, plant
from fakes_ingest import MemoryFacts
from steadybead_collector.config import load_plant_file
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.times import SECOND, parse_rfc3339

START = 1_780_000_000 * SECOND
EVERY, TURN, WAY = SECOND // 5, SECOND // 50, SECOND // 200
LOST, END = 8 * SECOND, 14 * SECOND
STATIONS = 3


class Wall:
    """Hears what is published, and keeps how long after its time."""

    def __init__(self) -> None:
        self.now = START
        self.values: list[int] = []
        self.alarms: dict[str, int] = {}
        self.newest: dict[str, int] = {}

    def publish(self, topic: str, payload: bytes) -> bool:
        """Take a retained message."""
        said = json.loads(payload) if payload else {}
        if topic.endswith("/live"):
            newest = max((parse_rfc3339(v["time"]) for v in said["values"]), default=0)
            if newest > self.newest.get(topic, 0):
                last = self.newest.get(topic, newest - EVERY)
                self.values.append(self.now - min(newest, last + EVERY))
                self.newest[topic] = newest
        elif said:
            self.alarms.setdefault(topic, self.now - parse_rfc3339(said["since"]))
        return True


def arrivals(station: int) -> Iterator[tuple[int, bytes]]:
    """Give what a station sends, when it arrives: five packs a second, in the end without air."""
    for number in range(END // EVERY):
        time = START + number * EVERY + station * 71_000
        lost = time - START > LOST
        pack = [
            {"n": name, "u": unit, "v": 4.0 if lost and name == "gun-a/flow" else level}
            for (name, _, unit, _), level in zip(CHANNELS, LEVELS, strict=True)
        ]
        yield time + WAY, json.dumps([{**pack[0], "bt": time / SECOND}, *pack[1:]]).encode()


@pytest.fixture
def wall(tmp_path: Path) -> Wall:
    """Let the shop work, and give what the wall has seen."""
    file = tmp_path / "plant.toml"
    file.write_text(plant("mqtt://127.0.0.1:1", STATIONS), "utf-8")
    seen = Wall()
    pipeline = Pipeline(
        load_plant_file(file).plant,
        "steadybead/v1",
        MemoryReadings(),
        MemoryFacts(),
        seen.publish,
    )
    pipeline.open()
    sent = [
        (at, f"steadybead/v1/north/bay-{station}/senml", payload)
        for station in range(STATIONS)
        for at, payload in arrivals(station)
    ]
    waiting, number = sorted(sent), 0
    while waiting:
        seen.now += TURN
        messages: list[Message] = []
        while waiting and waiting[0][0] <= seen.now:
            _, topic, payload = waiting.pop(0)
            number += 1
            messages.append(Message(topic, payload, seen.now + len(messages), number))
        if messages:
            pipeline.feed(messages)
        pipeline.tick(seen.now)
    return seen


def test_values_and_alarms_are_told_soon(wall: Wall) -> None:
    assert len(wall.values) >= STATIONS * (END // EVERY - 1)
    assert max(wall.values) <= WAY + 2 * TURN
    assert len(wall.alarms) >= STATIONS
    assert max(wall.alarms.values()) <= EVERY + WAY + 2 * TURN
