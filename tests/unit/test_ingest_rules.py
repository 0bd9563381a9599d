"""Each rule of the contract for what arrives over MQTT, one by one."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cbor2
import orjson
import pytest

from fakes_ingest import NOW, BreakableReadings, MemoryFacts, Sender, again
from plants_ingest import plant_file
from steadybead_collector.config import load_plant_file
from steadybead_collector.ingest.commit import Committed, Ingest
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.outcomes import Outcome
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.ports import StoreError
from steadybead_domain.readings import Quality, Reading, Reason
from steadybead_domain.times import DAY, MINUTE, SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind

NOZZLE = ChannelId("north", "bay-2", "gun-a/nozzle")
T0 = NOW // SECOND  # s


@dataclass
class Room:
    """An ingest over stores in memory, and somebody who sends."""

    ingest: Ingest
    readings: BreakableReadings
    facts: MemoryFacts
    sender: Sender

    def send(self, *messages: Message) -> Committed:
        return self.ingest.commit(messages)

    def record(self, record: dict[str, object], **marks: Any) -> Message:
        message = self.sender.senml(record, **marks)
        self.send(message)
        return message

    def stored(self, channel: ChannelId = NOZZLE) -> list[Reading]:
        parts = self.readings.read(channel, 0, 2**62)
        return [part.row(i) for part in parts for i in range(len(part))]

    def counts(self) -> dict[str, int]:
        return {k.value: v for k, v in self.ingest.counts.items() if v}


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    plant = load_plant_file(plant_file(tmp_path), version=3).plant
    readings, facts = BreakableReadings(), MemoryFacts()
    ingest = Ingest(plant, "steadybead/v1", readings, facts, Receipts())
    yield Room(ingest, readings, facts, Sender("bay-2"))
    readings.close()


def test_an_absolute_time_is_kept_and_the_reading_is_good(room: Room) -> None:
    room.record({"n": "gun-a/nozzle", "u": "Cel", "t": T0 + 0.25, "v": 231.5})
    assert room.stored() == [
        Reading(NOW + 250_000, 231.5, 231.5, Quality.GOOD, Reason.NONE, plant=3)
    ]
    assert room.facts.calls == []  # neither receipts nor quarantine were needed


def test_cbor_arrives_on_its_own_topic(room: Room) -> None:
    payload = cbor2.dumps([{-2: "gun-a/", -3: T0, 0: "nozzle", 2: 230}])
    room.send(room.sender.message("senml-cbor", payload))
    assert [r.value for r in room.stored()] == [230.0]


@pytest.mark.parametrize(
    ("unit", "sent", "value"),
    [(None, 230.0, 230.0), ("Cel", 230.0, 230.0), ("K", 503.15, 230.0), ("degF", 446.0, 230.0)],
)
def test_a_missing_unit_is_the_files_and_another_of_its_kind_is_converted(
    room: Room, unit: str | None, sent: float, value: float
) -> None:
    record: dict[str, object] = {"n": "gun-a/nozzle", "t": T0, "v": sent}
    room.record(record if unit is None else {**record, "u": unit})
    assert [r.value for r in room.stored()] == [pytest.approx(value, abs=1e-9)]


@pytest.mark.parametrize("unit", ["Pa", "mV", "", "furlong", "cel"])
def test_a_unit_of_another_kind_goes_to_quarantine(room: Room, unit: str) -> None:
    room.record({"n": "gun-a/nozzle", "u": unit, "t": T0, "v": 230})
    assert room.stored() == []
    row = room.facts.row(Outcome.UNIT)
    assert (row.record, row.remedy) == (0, Outcome.UNIT.remedy)
    assert "gun-a/nozzle" in row.detail


@pytest.mark.parametrize("record", [{}, {"t": 0}])
def test_without_a_time_the_first_receipt_is_the_time(room: Room, record: dict[str, int]) -> None:
    message = room.record({"n": "gun-a/nozzle", "v": 230, **record})
    assert room.stored() == [
        Reading(message.received, 230.0, 230.0, Quality.UNCERTAIN, Reason.TIME_OF_RECEIPT, plant=3)
    ]


@pytest.mark.parametrize("offset_s", [-86_400, -0.5, 5])
def test_relative_times_count_from_the_first_receipt(room: Room, offset_s: float) -> None:
    message = room.record({"n": "gun-a/nozzle", "v": 230, "t": offset_s})
    reading = room.stored()[0]
    assert reading.time == message.received + round(offset_s * SECOND)
    assert reading.quality is Quality.UNCERTAIN


@pytest.mark.parametrize(
    "time",
    [-86_400.000001, 5.000001, 100, 2**28 - 1, 2**28, 1_577_836_799.999999, T0 + 301, 4_070_908_800,
     1e11],
)  # fmt: skip
def test_times_that_cannot_be_go_to_quarantine(room: Room, time: float) -> None:
    room.record({"n": "gun-a/nozzle", "v": 230, "t": time})
    assert room.stored() == []
    assert "record 0" in room.facts.row(Outcome.TIME).detail


def test_the_edges_of_absolute_times_are_kept(room: Room) -> None:
    message = room.sender.senml(
        {"n": "gun-a/nozzle", "v": 1, "t": 1_577_836_800},
        {"n": "gun-a/nozzle", "v": 2, "t": T0 + 300},
    )
    room.send(message)
    assert len(room.stored()) == 2


def test_from_a_backlog_a_reading_without_time_is_bad(room: Room) -> None:
    message = room.record({"n": "gun-a/nozzle", "v": 230}, backlog=True)
    assert room.stored() == [
        Reading(message.received, 230.0, 230.0, Quality.BAD, Reason.CLOCK, plant=3)
    ]


def test_from_a_backlog_a_reading_with_a_time_is_good(room: Room) -> None:
    room.record({"n": "gun-a/nozzle", "v": 230, "t": T0 - 3600}, backlog=True)
    assert room.stored()[0].quality is Quality.GOOD


def test_a_redelivered_message_without_time_keeps_its_first_time(room: Room) -> None:
    message = room.record({"n": "gun-a/nozzle", "v": 230})
    room.send(again(message, 5 * SECOND), again(message, 8 * SECOND, dup=True, backlog=True))
    assert [r.time for r in room.stored()] == [message.received]
    assert room.counts() == {"accepted": 1, "duplicate": 2}


def test_after_a_crash_the_redelivered_message_keeps_its_first_time(room: Room) -> None:
    message = room.sender.senml({"n": "gun-a/nozzle", "v": 230})
    room.readings.broken = 1
    with pytest.raises(StoreError):
        room.send(message)
    plant = room.ingest.intake.routes.plant
    after = Ingest(plant, "steadybead/v1", room.readings, room.facts, Receipts())
    after.commit([again(message, 90 * SECOND, backlog=True, connection=7)])
    reading = room.stored()[0]
    assert (reading.time, reading.reason) == (message.received, Reason.TIME_OF_RECEIPT)


def test_after_a_crash_during_a_backlog_the_reading_stays_bad(room: Room) -> None:
    message = room.sender.senml({"n": "gun-a/nozzle", "v": 230}, backlog=True)
    room.readings.broken = 1
    with pytest.raises(StoreError):
        room.send(message)
    plant = room.ingest.intake.routes.plant
    after = Ingest(plant, "steadybead/v1", room.readings, room.facts, Receipts())
    after.commit([again(message, 90 * SECOND, backlog=True, connection=7)])
    reading = room.stored()[0]
    assert (reading.time, reading.reason) == (message.received, Reason.CLOCK)


def test_a_message_id_that_is_used_again_is_no_redelivery(room: Room) -> None:
    first = room.record({"n": "gun-a/nozzle", "v": 230})
    second = again(first, MINUTE)  # same id, topic and payload, long acknowledged
    room.send(second)
    room.send(again(second, 5 * SECOND))  # but this one is
    assert [r.time for r in room.stored()] == [first.received, second.received]


def test_in_a_backlog_an_old_receipt_under_the_same_id_is_not_believed(room: Room) -> None:
    first = room.record({"n": "gun-a/nozzle", "v": 230})
    plant = room.ingest.intake.routes.plant
    settled = Receipts(settled_until=first.received + 1)
    after = Ingest(plant, "steadybead/v1", room.readings, room.facts, settled)
    other = again(first, DAY, backlog=True, connection=9)
    after.commit([other])
    after.commit([again(other, SECOND, dup=True)])
    assert [r.time for r in room.stored()] == [first.received, other.received]
    assert room.stored()[1].reason is Reason.CLOCK


def test_receipts_are_durable_before_the_readings(room: Room) -> None:
    room.readings.broken = 1
    with pytest.raises(StoreError):
        room.record({"n": "gun-a/nozzle", "v": 230})
    assert room.facts.calls == ["receipts"]
    assert len(room.facts.known) == 1


def test_the_same_value_again_is_a_duplicate(room: Room) -> None:
    for _ in range(3):
        room.record({"n": "gun-a/nozzle", "t": T0, "v": 230})
    assert len(room.stored()) == 1
    assert room.counts() == {"accepted": 1, "duplicate": 2}


def test_another_value_at_the_same_time_is_a_conflict_and_the_first_stays(room: Room) -> None:
    room.record({"n": "gun-a/nozzle", "t": T0, "v": 230})
    second = room.record({"n": "gun-a/nozzle", "t": T0, "v": 231})
    assert [r.value for r in room.stored()] == [230.0]
    row = room.facts.row(Outcome.CONFLICT)
    assert row.payload == second.payload
    assert "kept 230, came 231" in row.detail


def test_a_conflict_within_one_batch_names_the_message_that_came_second(room: Room) -> None:
    first = room.sender.senml({"n": "gun-a/nozzle", "t": T0, "v": 230})
    second = room.sender.senml({"n": "gun-a/nozzle", "t": T0, "v": 231})
    room.send(first, second)
    assert room.facts.row(Outcome.CONFLICT).payload == second.payload
    assert room.counts() == {"accepted": 1, "conflict": 1}


@pytest.mark.parametrize(
    ("record", "outcome"),
    [
        ({"n": "gun-a/nozle", "v": 1, "t": T0}, Outcome.UNKNOWN_CHANNEL),
        ({"n": "gun-a/nozzle", "vs": "hot", "t": T0}, Outcome.NOT_A_NUMBER),
        ({"n": "gun-a/nozzle", "vb": True, "t": T0}, Outcome.NOT_A_NUMBER),
        ({"n": "gun-a/nozzle", "vd": "aGkgCg", "t": T0}, Outcome.NOT_A_NUMBER),
        ({"n": "gun-a/nozzle", "s": 5, "t": T0}, Outcome.NO_VALUE),
        ({"n": "gun-a/nozzle", "t": T0}, Outcome.NO_VALUE),
        ({"n": "gun-a/nozzle", "v": "x", "t": T0}, Outcome.MALFORMED),
        ({"n": "no slash", "v": 1, "t": T0}, Outcome.NAME),
    ],
)
def test_each_refused_record_has_its_word_and_its_neighbour_stays(
    room: Room, record: dict[str, object], outcome: Outcome
) -> None:
    room.send(room.sender.senml({"n": "gun-a/nozzle", "t": T0 - 1, "v": 5}, record))
    assert len(room.stored()) == 1
    row = room.facts.row(outcome)
    assert row.record == 1
    assert row.remedy
    assert row.topic == "steadybead/v1/north/bay-2/senml"


def test_nan_in_json_refuses_the_record_only(room: Room) -> None:
    payload = b'[{"n":"gun-a/nozzle","t":%d,"v":NaN},{"n":"gun-a/flow","t":%d,"v":300}]' % (T0, T0)
    room.send(room.sender.message("senml", payload))
    assert room.stored() == []
    assert len(room.stored(ChannelId("north", "bay-2", "gun-a/flow"))) == 1
    assert room.facts.row(Outcome.NOT_FINITE).record == 0


def test_a_number_that_overflows_in_its_unit_is_not_finite(room: Room) -> None:
    room.sender.station = "bay-1"
    room.record({"n": "gun-a/nozzle", "u": "kV", "t": T0, "v": 1e308})
    assert room.facts.outcomes() == [Outcome.NOT_FINITE]


@pytest.mark.parametrize(
    ("payload", "outcome"),
    [(b"", Outcome.MALFORMED), (b"{}", Outcome.MALFORMED), (b"\xff\xff", Outcome.MALFORMED),
     (b'[{"n":"a","v":1,"x_":1}]', Outcome.MUST_UNDERSTAND),
     (b'[{"bver":11,"n":"a","v":1}]', Outcome.VERSION),
     (b"[" + b" " * 5_000_000 + b"]", Outcome.TOO_BIG)],
)  # fmt: skip
def test_each_refused_message_has_its_word_and_a_capped_payload(
    room: Room, payload: bytes, outcome: Outcome
) -> None:
    room.send(room.sender.message("senml", payload))
    row = room.facts.row(outcome)
    assert row.record is None
    assert row.payload == payload[:4096]


@pytest.mark.parametrize(
    ("topic", "outcome"),
    [
        ("steadybead/v1/north/bay-9/senml", Outcome.UNKNOWN_STATION),
        ("steadybead/v1/south/bay-1/senml", Outcome.UNKNOWN_STATION),
        ("steadybead/v1/north/bay-1/other", Outcome.TOPIC),
        ("steadybead/v1/north", Outcome.TOPIC),
        ("elsewhere", Outcome.TOPIC),
        ("", Outcome.TOPIC),
    ],
)
def test_a_topic_that_leads_nowhere_has_its_word(room: Room, topic: str, outcome: Outcome) -> None:
    room.send(room.sender.on(topic, b"[]"))
    assert room.facts.outcomes() == [outcome]


def test_our_own_topics_are_passed_over(room: Room) -> None:
    room.send(room.sender.message("live", b"{}", qos=0), room.sender.message("alarm/x", b"", qos=0))
    assert room.facts.calls == []


def test_a_partition_may_put_something_before_the_root(room: Room) -> None:
    payload = orjson.dumps([{"n": "gun-a/nozzle", "t": T0, "v": 230}])
    room.send(room.sender.on("p/3/steadybead/v1/north/bay-2/senml", payload))
    assert len(room.stored()) == 1


def test_ten_thousand_unknown_channels_each_count_and_stay_within_bounds(room: Room) -> None:
    for i in range(10_000):
        room.record({"n": f"gun-a/made-up-{i}", "t": T0, "v": 1})
    assert room.counts() == {"unknown_channel": 10_000}
    assert sum(count for _, count in room.facts.refused.values()) == 10_000
    slots = room.ingest.intake.routes.stations[1].by_name
    assert len(slots) == 3


def test_unknown_channels_in_one_message_are_one_row(room: Room) -> None:
    room.send(room.sender.senml(*({"n": f"gun-a/x{i}", "v": 1, "t": T0} for i in range(10_000))))
    assert room.counts() == {"unknown_channel": 10_000}
    row = room.facts.row(Outcome.UNKNOWN_CHANNEL)
    assert row.record is None
    assert row.detail.startswith("10000 records: ")


def test_a_flood_of_refusals_is_counted_without_payload(room: Room) -> None:
    for i in range(21_000):
        room.send(room.sender.message("senml", b"%d" % i))
    rows = list(room.facts.refused.values())
    assert sum(count for _, count in rows) == 21_000
    assert len(rows) <= 20_010
    more, count = rows[-1]
    assert (more.payload, more.outcome, count > 900) == (b"", "malformed", True)


def test_a_cold_junction_of_the_same_pack_counts_in_any_order(room: Room) -> None:
    room.sender.station = "bay-1"
    room.send(
        room.sender.senml(
            {"bn": "gun-a/", "bt": T0, "n": "nozzle", "u": "mV", "v": 8.138},
            {"n": "terminal", "u": "Cel", "v": 25},
        )
    )
    reading = room.stored(ChannelId("north", "bay-1", "gun-a/nozzle"))[0]
    # IEC 60584-1 type K: 25 °C is 1.000 mV and 225 °C is 9.141 mV (table, from memory, ± 3 µV)
    assert reading.value == pytest.approx(225.0, abs=0.2)
    assert reading.raw == 8.138


def test_true_and_false_are_numbers_where_the_quantity_is_one_of_both(room: Room) -> None:
    room.sender.station = "bay-1"
    room.record({"n": "gun-a/stand", "t": T0, "vb": True})
    assert [r.value for r in room.stored(ChannelId("north", "bay-1", "gun-a/stand"))] == [1.0]


def test_a_foreign_payload_is_read_by_its_pointer(room: Room) -> None:
    message = room.sender.on("shop/meter7", b'{"flow":{"now":312.5}}')
    room.send(message, room.sender.on("shop/dial", b" 305 "))
    flow = room.stored(ChannelId("north", "bay-2", "gun-a/flow"))[0]
    assert (flow.value, flow.time) == (312.5, message.received)
    assert flow.reason is Reason.TIME_OF_RECEIPT
    assert room.stored(ChannelId("north", "bay-2", "gun-a/set"))[0].value == 305.0


@pytest.mark.parametrize(
    ("payload", "outcome"),
    [(b"{}", Outcome.POINTER), (b'{"flow":{"now":"x"}}', Outcome.NOT_A_NUMBER),
     (b"nonsense", Outcome.MALFORMED)],
)  # fmt: skip
def test_a_foreign_payload_without_its_number_has_its_word(
    room: Room, payload: bytes, outcome: Outcome
) -> None:
    room.send(room.sender.on("shop/meter7", payload))
    assert room.facts.outcomes() == [outcome]


def test_online_is_told_and_nonsense_refused(room: Room) -> None:
    committed = room.send(
        room.sender.message("online", b"1"),
        room.sender.message("online", b"0"),
        room.sender.message("online", b"maybe"),
    )
    assert [(o.station, o.online) for o in committed.onlines] == [
        (StationId("north", "bay-2"), True),
        (StationId("north", "bay-2"), False),
    ]
    assert room.facts.outcomes() == [Outcome.MALFORMED]


def _weld(**members: Any) -> bytes:
    whole = {"event": "start", "gun": "a", "time": "2026-05-28T20:00:00Z", **members}
    return orjson.dumps({k: v for k, v in whole.items() if v is not None})


def test_a_weld_without_id_gets_one_that_a_redelivery_repeats(room: Room) -> None:
    room.send(room.sender.message("weld", _weld(job="J7", procedure="pp-speed-nozzle")))
    room.send(room.sender.message("weld", _weld(job="J7", procedure="pp-speed-nozzle")))
    room.send(room.sender.message("weld", _weld(event="stop", time="2026-05-28T20:05:00Z")))
    room.send(room.sender.message("weld", _weld(event="stop", time="2026-05-28T20:05:00Z")))
    start, stop = room.facts.changes
    assert isinstance(start, WeldEvent)
    assert isinstance(stop, WeldEvent)
    assert (start.kind, stop.kind) == (WeldEventKind.START, WeldEventKind.STOP)
    assert start.weld == stop.weld
    assert start.weld.startswith("w-")
    assert (start.job, start.via, start.gun) == ("J7", "mqtt", "a")
    assert room.counts() == {"accepted": 2, "duplicate": 2}


@pytest.mark.parametrize(
    "payload",
    [b"", b"[]", b"{", _weld(event="begin"), _weld(event=None), _weld(gun=None), _weld(gun="z"),
     _weld(gun="a b"), _weld(gun=5), _weld(time=None), _weld(time="yesterday"), _weld(time=17),
     _weld(weld="a/b"), _weld(weld=["x"]), _weld(job=5), _weld(job="x" * 201),
     _weld(welder="nul\0")],
)  # fmt: skip
def test_a_weld_message_that_cannot_be_read_has_its_word(room: Room, payload: bytes) -> None:
    room.send(room.sender.message("weld", payload))
    assert room.facts.changes == []
    assert room.facts.outcomes() == [Outcome.WELD]


@pytest.mark.parametrize("time", ["1970-01-01T00:00:00Z", "2099-01-01T00:00:00Z"])
def test_a_weld_at_a_time_that_cannot_be_goes_to_quarantine(room: Room, time: str) -> None:
    room.send(room.sender.message("weld", _weld(time=time)))
    assert room.facts.outcomes() == [Outcome.TIME]


def test_a_stop_that_ends_nothing_goes_to_quarantine(room: Room) -> None:
    room.send(room.sender.message("weld", _weld(event="stop")))
    room.send(room.sender.message("weld", _weld(event="stop", weld="never-started")))
    assert room.facts.outcomes() == [Outcome.NO_OPEN_WELD, Outcome.NO_OPEN_WELD]


def test_a_fault_of_ours_refuses_one_message_and_no_other(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    slots = room.ingest.intake.routes.stations[1]
    convert = slots.converter.convert

    def stumble(columns: Any) -> Any:
        if any(666.0 in rows.wire for rows in columns.values()):
            raise ZeroDivisionError
        return convert(columns)

    monkeypatch.setattr(slots.converter, "convert", stumble)
    room.send(
        room.sender.senml({"n": "gun-a/nozzle", "t": T0, "v": 1}),
        room.sender.senml({"n": "gun-a/nozzle", "t": T0 + 1, "v": 666}),
        room.sender.senml({"n": "gun-a/nozzle", "t": T0 + 2, "v": 3}),
    )
    assert [r.value for r in room.stored()] == [1.0, 3.0]
    assert room.facts.outcomes() == [Outcome.INTERNAL]
