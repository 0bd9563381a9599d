"""A shop judged in slices: what is told at once, and that the end is the same."""

import json
from pathlib import Path

import pytest

from bench.bench_line import CHANNELS, LEVELS, plant
from fakes_ingest import MemoryFacts
from steadybead_collector.config import load_plant_file
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Plant
from steadybead_domain.times import SECOND

START = 1_780_000_000 * SECOND
STATIONS, SECONDS = 3, 90
Said = list[tuple[str, dict[str, float]]]


@pytest.fixture
def shop(tmp_path: Path) -> Plant:
    file = tmp_path / "plant.toml"
    file.write_text(plant("mqtt://127.0.0.1:1", STATIONS), "utf-8")
    return load_plant_file(file).plant


class Judged:
    """A pipeline on virtual time, and what it published, by topic."""

    def __init__(self, shop: Plant, slice_s: float | None, facts: MemoryFacts) -> None:
        self.said: Said = []
        self.facts = facts
        self.pipeline = Pipeline(
            shop, "steadybead/v1", MemoryReadings(), facts, self.hear, slice_s=slice_s
        )
        self.pipeline.open()
        self.number = 0

    def hear(self, topic: str, payload: bytes) -> bool:
        """Take what is published."""
        if topic.endswith("/live"):
            said = json.loads(payload)
            self.said.append((topic, {v["channel"]: v["value"] for v in said["values"]}))
        return True

    def send(self, second: int, flow_ma: float, terminal_c: float = 25.0) -> None:
        """Every station sends a pack."""
        told = {"gun-a/flow": flow_ma, "gun-a/terminal": terminal_c}
        for station in range(STATIONS):
            self.number += 1
            pack = [
                {"n": name, "u": unit, "v": told.get(name, level)}
                for (name, _, unit, _), level in zip(CHANNELS, LEVELS, strict=True)
            ]
            payload = json.dumps([{**pack[0], "bt": START / SECOND + second}, *pack[1:]])
            topic = f"steadybead/v1/north/bay-{station}/senml"
            received = START + second * SECOND + self.number
            self.pipeline.feed([Message(topic, payload.encode(), received, self.number)])

    def turns(self, second: float, count: int) -> None:
        """Let it judge."""
        for turn in range(count):
            now = round(START + second * SECOND) + turn * SECOND // 40
            self.pipeline.tick(now)


def day(judged: Judged) -> None:
    """A minute and a half: the air is lost for ten seconds; a cold junction's plug is loose."""
    for second in range(SECONDS):
        loose = second > 20 and second % 8 == 0
        judged.send(second, 4.0 if 40 <= second < 50 else 12.0, 80.0 if loose else 25.0)
        judged.turns(second + 0.2, 20)
    judged.turns(SECONDS + 5, 50)


def test_slices_change_neither_alarms_nor_findings(shop: Plant) -> None:
    whole, sliced = MemoryFacts(), MemoryFacts()
    day(Judged(shop, None, whole))
    last = Judged(shop, 0.0, sliced)
    day(last)
    last.pipeline.close(START + (SECONDS + 10) * SECOND)
    assert sliced.alarm_facts == whole.alarm_facts
    assert {f.kind for f in whole.alarm_facts.values()} >= {"air_lost_heat_on"}
    assert sliced.findings == whole.findings
    assert {"sensor_spikes"} <= {f.kind for f in whole.findings.values()}


def test_values_of_stations_that_have_to_wait_are_told_at_once(shop: Plant) -> None:
    judged = Judged(shop, 0.0, MemoryFacts())
    judged.send(0, 12.0)
    judged.turns(1.0, STATIONS + 2)
    judged.send(2, 12.8)
    judged.said.clear()
    judged.turns(2.2, 1)
    assert judged.pipeline.has_more
    assert {topic.split("/")[-2] for topic, _ in judged.said} == {"bay-0", "bay-1", "bay-2"}
    assert all(values["gun-a/flow"] == pytest.approx(55.0) for _, values in judged.said)
    judged.turns(2.3, STATIONS)
    assert not judged.pipeline.has_more


def test_who_waited_longest_is_judged_next(shop: Plant) -> None:
    judged = Judged(shop, 0.0, MemoryFacts())
    for second in range(4):
        judged.send(second, 12.0)
    judged.turns(4.0, STATIONS)
    seen = [judged.pipeline.diagnoses.watched[s.id].diagnosis.next_step for s in shop.stations]
    assert None not in seen
    assert max(seen) - min(seen) <= 1  # type: ignore[operator,type-var]


def test_a_state_is_saved_with_its_slow_checks_made(shop: Plant) -> None:
    facts = MemoryFacts()
    judged = Judged(shop, 0.0, facts)
    for second in range(30):
        judged.send(second, 12.0)
        judged.turns(second + 0.2, 12)
    assert set(facts.states) == {StationId("north", f"bay-{i}") for i in range(STATIONS)}
    waiting = [w.diagnosis.put_off.steps for w in judged.pipeline.diagnoses.watched.values()]
    assert max(waiting) < 40
