"""However messages are cut into batches, delivered again and interrupted: once, and the same."""

import random
import tempfile
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fakes_ingest import NOW, BreakableReadings, MemoryFacts
from plants_ingest import plant_file
from steadybead_collector.config import load_plant_file
from steadybead_collector.ingest.commit import Ingest
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.mqtt.inbox import Message
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Plant
from steadybead_domain.ports import StoreError
from steadybead_domain.times import SECOND

TOPIC = "steadybead/v1/north/bay-2/senml"
NOZZLE = ChannelId("north", "bay-2", "gun-a/nozzle")


@cache
def _plant() -> Plant:
    with tempfile.TemporaryDirectory() as folder:
        return load_plant_file(plant_file(Path(folder))).plant


@dataclass
class Broker:
    """Delivers in order, and again what was not acknowledged, under the same message id."""

    waiting: list[Message]
    now: int = NOW
    connection: int = 0
    unacknowledged: list[Message] = field(default_factory=list)

    def deliver(self, count: int) -> list[Message]:
        batch: list[Message] = []
        for message in self.waiting[:count]:
            self.now += 1000
            batch.append(replace(message, received=self.now, connection=self.connection))
        self.waiting = self.waiting[count:]
        self.unacknowledged += batch
        return batch

    def acknowledge(self, batch: list[Message]) -> None:
        mids = {m.mid for m in batch}
        self.unacknowledged = [m for m in self.unacknowledged if m.mid not in mids]

    def reconnect(self, *, dup: bool) -> None:
        again = [replace(m, dup=dup, backlog=True) for m in self.unacknowledged]
        self.waiting = again + [replace(m, backlog=True) for m in self.waiting]
        self.unacknowledged = []
        self.connection += 1
        self.now += 30 * SECOND


def _messages(count: int) -> list[Message]:
    """Make messages of which every second carries no time of its own."""
    made = []
    for number in range(count):
        record: dict[str, object] = {"n": "gun-a/nozzle", "v": float(number)}
        if number % 2:
            record["t"] = (NOW - 10_000 * SECOND) / SECOND + number
        made.append(Message(TOPIC, orjson.dumps([record]), 0, number + 1))
    return made


@dataclass
class Interruption:
    """What goes wrong with one batch."""

    size: int
    kind: str  # "", "receipts", "readings", "after": before the acknowledgement


interruptions = st.lists(
    st.builds(
        Interruption, st.integers(1, 7), st.sampled_from(["", "", "receipts", "readings", "after"])
    ),
    min_size=1,
    max_size=12,
)


@settings(deadline=None)
@given(interruptions, st.booleans(), st.integers(1, 30))
def test_every_message_is_stored_once_with_the_time_of_its_first_receipt(
    steps: list[Interruption], dup: bool, count: int
) -> None:
    readings, facts = BreakableReadings(), MemoryFacts()
    broker = Broker(_messages(count))
    first_receipt: dict[float, int] = {}
    ingest = Ingest(_plant(), "steadybead/v1", readings, facts, Receipts())
    for step in [*steps, *[Interruption(7, "")] * 20]:
        batch = broker.deliver(step.size)
        facts.broken = int(step.kind == "receipts")
        readings.broken = int(step.kind == "readings")
        crashed = step.kind == "after"
        try:
            ingest.commit(batch)
        except StoreError:
            crashed = True
        if not facts.broken and step.kind != "receipts":
            for message in batch:
                value = orjson.loads(message.payload)[0]["v"]
                first_receipt.setdefault(value, message.received)
        facts.broken = readings.broken = 0
        if crashed:
            broker.reconnect(dup=dup)
            ingest = Ingest(_plant(), "steadybead/v1", readings, facts, Receipts())
        else:
            broker.acknowledge(batch)
    stored = [part.row(i) for part in readings.read(NOZZLE, 0, 2**62) for i in range(len(part))]
    assert sorted(r.raw for r in stored) == [float(n) for n in range(count)]
    for reading in stored:
        number = int(reading.raw)
        timed = (NOW - 10_000 * SECOND) + number * SECOND
        assert reading.time == (timed if number % 2 else first_receipt[reading.raw])
    readings.close()


@pytest.mark.parametrize("seed", range(5))
def test_the_cut_into_batches_changes_nothing(seed: int) -> None:
    messages = [replace(m, received=NOW + m.mid * 1000) for m in _messages(60)]
    results = []
    for cut in (1, 7, 60):
        readings = BreakableReadings()
        ingest = Ingest(_plant(), "steadybead/v1", readings, MemoryFacts(), Receipts())
        order = list(messages)
        random.Random(seed).shuffle(order)  # noqa: S311
        for at in range(0, 60, cut):
            ingest.commit(order[at : at + cut])
        rows = [p.row(i) for p in readings.read(NOZZLE, 0, 2**62) for i in range(len(p))]
        results.append(rows)
        readings.close()
    assert results[0] == results[1] == results[2]
    assert len(results[0]) == 60
