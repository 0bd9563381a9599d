"""A pack of a known form is read the short way: what comes of it is the same as the long way."""

import json
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import cbor2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fakes_ingest import NOW, MemoryFacts, Sender
from plants_ingest import plant_file
from steadybead_collector.config import load_plant_file
from steadybead_collector.ingest import shapes
from steadybead_collector.ingest.commit import Ingest
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.plant import Plant

NAMES = ["nozzle", "terminal", "flow", "stand", "nozle"]
UNITS: dict[str, list[str | None]] = {
    "nozzle": ["mV", None, "V"],
    "terminal": ["Cel", None, "K"],
    "flow": ["mA", None, "Cel"],
}
now_s = NOW / 1e6
values: st.SearchStrategy[Any] = st.one_of(
    st.floats(-20, 60),
    st.integers(-5, 2**70),
    st.sampled_from([True, None, "3", -0.0, float("nan"), float("inf"), 1e308, [1], b"x"]),
)
plain = st.floats(0, 25)
times: st.SearchStrategy[Any] = st.one_of(
    st.none(),
    st.integers(0, 5),
    st.sampled_from([0.2, 0.4, -1, 1e9, 1e13, "1", True, float("nan")]),
)
bases: st.SearchStrategy[Any] = st.one_of(
    st.integers(0, 50).map(lambda step: round(now_s - 100 + step * 0.2, 6)),
    st.sampled_from([now_s + 1000, now_s, 0, -3.0, "now", True, 1.5e9]),
)


@cache
def plant() -> Plant:
    with tempfile.TemporaryDirectory() as folder:
        return load_plant_file(plant_file(Path(folder))).plant


@st.composite
def forms(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Give what a device sends again and again; its values are drawn later."""
    records: list[dict[str, Any]] = []
    for name in draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=5)):
        record: dict[str, Any] = {"n": name}
        unit = draw(st.sampled_from(UNITS.get(name, [None])))
        if unit is not None:
            record["u"] = unit
        if draw(st.booleans()):
            record["t"] = 0
        records.append(record)
    records[0]["bn"] = draw(st.sampled_from(["gun-a/", "gun-a/", "gun-b/"]))
    records[0] |= draw(
        st.sampled_from([{}, {}, {"bver": 10}, {"bu": "Cel"}, {"bv": 1.0}, {"x_": 1}])
    )
    return records


@st.composite
def packs(draw: st.DrawFn) -> list[list[dict[str, Any]]]:
    """Give packs of a few forms in any order, most of them sound."""
    known = draw(st.lists(forms(), min_size=1, max_size=3))
    made = []
    for _ in range(draw(st.integers(1, 8))):
        pack = [dict(record) for record in draw(st.sampled_from(known))]
        pack[0]["bt"] = draw(bases if draw(st.booleans()) else st.just(now_s - 50))
        for record in pack:
            record["v"] = draw(plain if draw(st.integers(0, 9)) else values)
            if "t" in record and not draw(st.integers(0, 4)):
                record["t"] = draw(times)
        made.append(pack)
    return made


def payload(pack: list[dict[str, Any]], kind: str) -> bytes:
    if kind == "senml-cbor":
        return cbor2.dumps(pack)
    return json.dumps(pack, default=str).encode()  # also NaN and integers of any length


def outcome(messages: list[Message], most_shapes: int, cut: int) -> tuple[Any, ...]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shapes, "MOST_SHAPES", most_shapes)
        readings, facts = MemoryReadings(), MemoryFacts()
        ingest = Ingest(plant(), "steadybead/v1", readings, facts, Receipts())
        for at in range(0, len(messages), cut):
            ingest.commit(messages[at : at + cut])
    rows = {
        channel.id: [
            (part.time.tolist(), part.raw.tobytes(), part.value.tobytes(), part.quality.tolist())
            for part in readings.read(channel.id, 0, 2 * NOW)
        ]
        for station in plant().stations
        for channel in station.channels
    }
    return rows, facts.refused, ingest.counts


@settings(deadline=None, max_examples=150)
@given(packs(), st.sampled_from(["senml", "senml-cbor"]), st.integers(1, 8))
def test_both_ways_end_alike(made: list[list[dict[str, Any]]], kind: str, cut: int) -> None:
    sender = Sender()
    messages = [sender.message(kind, payload(pack, kind)) for pack in made]
    assert outcome(messages, 16, cut) == outcome(messages, 0, cut)


def test_the_short_way_is_taken() -> None:
    records = [{"n": "nozzle", "u": "mV", "v": 8.0}, {"n": "terminal", "u": "Cel", "v": 25.0}]
    sender = Sender()
    ingest = Ingest(plant(), "steadybead/v1", MemoryReadings(), MemoryFacts(), Receipts())
    for number in range(3):
        first = {"bn": "gun-a/", "bt": now_s - 9 + number, **records[0]}
        message = sender.senml(first, records[1])
        shaped = ingest.intake.decode([message])[0].shaped
        assert (shaped is not None) == (number > 0)
        ingest.commit([message])
    assert sum(ingest.counts.values()) == 6
