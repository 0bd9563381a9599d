"""The stream as messages: deterministic, well formed, and the same shop as the history."""

import hashlib
import json
from collections.abc import Iterable

import numpy as np
import pytest

from simulated_shop import FULL, LOOP, MONDAY, Shop, fault, with_faults
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, Plant, PointerSource, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import SECOND, parse_rfc3339
from steadybead_simulator import demo
from steadybead_simulator.messages import Message, messages
from steadybead_simulator.plants import plant_of
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.shop import Shop as Walk


def walk(plant: Plant, scenario: Scenario, seed: int, seconds: float) -> list[Message]:
    steps = messages(Walk(plant, scenario, seed, MONDAY), seconds)
    return [m for s in steps for m in s.messages]


def digest(stream: Iterable[Message]) -> str:
    whole = hashlib.sha256()
    for m in stream:
        whole.update(f"{m.at} {m.topic} {m.retain} ".encode() + m.payload + b"\n")
    return whole.hexdigest()


def test_same_seed_same_stream_other_seed_another() -> None:
    plant, scenario = demo.load()
    one, same = (digest(walk(plant, scenario, 3, 900.0)) for _ in range(2))
    assert one == same
    assert digest(walk(plant, scenario, 4, 900.0)) != one


def test_a_longer_run_begins_with_the_shorter() -> None:
    plant, scenario = demo.load()
    short, long = (walk(plant, scenario, 3, s) for s in (600.0, 1500.0))
    assert long[: len(short)] == short


def test_a_station_does_not_depend_on_its_neighbours() -> None:
    alone, many = plant_of(1), plant_of(4)
    one = walk(alone, LOOP, 3, 600.0)
    assert [m for m in walk(many, LOOP, 3, 600.0) if m.station == "bay-1"] == one


def test_messages_come_in_order_of_arrival() -> None:
    plant, scenario = demo.load()
    at = [m.at for m in walk(plant, scenario, 3, 1500.0)]
    assert at == sorted(at)


def test_packs_are_senml_with_the_plants_units() -> None:
    plant, scenario = demo.load()
    seen: dict[str, set[str]] = {}
    for m in walk(plant, scenario, 3, 300.0):
        site, station, last = m.topic.removeprefix("steadybead/v1/").split("/")
        assert site == "north"
        if last != "senml":
            continue
        pack = json.loads(m.payload)
        assert abs(pack[0]["bt"] * 1e6 - m.at) < 5e6
        for record in pack:
            assert set(record) <= {"bt", "n", "u", "v", "t"}
            seen.setdefault(station, set()).add(f"{record['n']} {record['u']}")
    expected = {
        s.id.station: {f"{c.id.channel} {c.wire_unit}" for c in s.channels} for s in plant.stations
    }
    assert seen == expected


def test_first_readings_come_within_a_second() -> None:
    plant, scenario = demo.load()
    first = {}
    for m in walk(plant, scenario, 1, 10.0):
        if m.topic.endswith("senml"):
            first.setdefault(m.station, (m.at - MONDAY) / SECOND)
    assert max(first.values()) < 1.1
    assert len(first) == 3


def test_stream_and_history_are_the_same_shop() -> None:
    shop = Shop(LOOP, 600.0)
    records: dict[str, list[tuple[int, float]]] = {}
    for m in walk(FULL, LOOP, 5, 600.0):
        if m.topic.endswith("/senml"):
            base = 0.0
            for r in json.loads(m.payload):
                base = r.get("bt", base)
                at = round((base + r.get("t", 0.0)) * 1e6)
                records.setdefault(r["n"], []).append((at, r["v"]))
    for name, columns in shop.columns.items():
        times, values = zip(*records[name], strict=True)
        n = min(len(times), len(columns))
        assert n >= 598
        assert np.array_equal(columns.time[:n], times[:n])
        assert columns.raw[:n] == pytest.approx(values[:n], rel=1e-9)


def test_weld_messages_tell_what_the_history_tells() -> None:
    shop = Shop(LOOP, 1800.0)
    told = [json.loads(m.payload) for m in walk(FULL, LOOP, 5, 1800.0) if m.topic.endswith("/weld")]
    assert len(told) > 4
    expected = [(e.kind.value, e.weld, e.gun, e.time) for e in shop.events]
    got = [(t["event"], t["weld"], t["gun"], parse_rfc3339(t["time"])) for t in told]
    assert sorted(got)[: len(got)] == sorted(expected)[: len(got)]


def test_online_is_retained_and_follows_the_nodes_power() -> None:
    working = walk(FULL, Scenario(), 5, 86_400.0)
    online = [m for m in working if m.topic.endswith("/online")]
    assert [m.payload for m in online] == [b"1", b"0"]
    assert all(m.retain for m in online)
    assert all(online[0].at <= m.at for m in working)
    assert not any(m.retain for m in working if not m.topic.endswith("/online"))


def test_a_pack_of_ten_seconds_carries_relative_times() -> None:
    scenario = Scenario(**{**_members(LOOP), "sample_s": 0.5, "pack_s": 10.0})
    packs = [json.loads(m.payload) for m in walk(FULL, scenario, 5, 300.0) if b'"bt"' in m.payload]
    assert len(packs) in {29, 30}
    assert all(len(p) == 20 * len(FULL.stations[0].channels) for p in packs)
    times = [r["t"] for r in packs[0] if "t" in r]
    assert max(times) == pytest.approx(9.5, abs=0.02)
    assert max(len(json.dumps(p)) for p in packs) < 64_000


def _members(scenario: Scenario) -> dict[str, object]:
    return {n: getattr(scenario, n) for n in Scenario.__dataclass_fields__}


def test_kept_messages_are_sent_after_the_outage() -> None:
    scenario = with_faults([fault("link_outage", 100.0, 160.0)])
    packs = [m for m in walk(FULL, scenario, 5, 300.0) if m.topic.endswith("/senml")]
    during = [m for m in packs if 101.5 < (m.at - MONDAY) / SECOND < 160.0]
    assert during == []
    burst = [m for m in packs if 160.0 <= (m.at - MONDAY) / SECOND < 162.0]
    assert len(burst) >= 60


def test_a_foreign_device_sends_plain_json() -> None:
    flow = Channel(
        ChannelId("north", "bay-1", "gun-a/flow"), Quantity.AIR_FLOW, "L/min",
        source=PointerSource("shop/meter/7", "/data/f~1low"),
    )  # fmt: skip
    nozzle = Channel(
        ChannelId("north", "bay-1", "gun-a/nozzle"), Quantity.NOZZLE_TEMPERATURE, "Cel"
    )
    plant = Plant("north", "UTC", (Station(StationId("north", "bay-1"), (nozzle, flow)),))
    foreign = [m for m in walk(plant, LOOP, 5, 60.0) if m.topic == "shop/meter/7"]
    assert len(foreign) >= 59
    assert 0.0 < json.loads(foreign[-1].payload)["data"]["f/low"] < 80.0


def test_nobody_stops_a_weld_whose_start_lies_before_the_shop() -> None:
    plant, scenario = demo.load()
    for seed in (1, 5, 11):
        stream = walk(plant, scenario, seed, 600.0)
        told = [json.loads(m.payload) for m in stream if m.topic.endswith("/weld")]
        started = {t["weld"] for t in told if t["event"] == "start"}
        assert started
        assert {t["weld"] for t in told} == started
