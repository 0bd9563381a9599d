"""Inputs that come over MQTT: SenML in both forms, topics, weld messages, foreign payloads."""

import json
import math
from pathlib import Path
from random import Random
from typing import Any

import cbor2

from fakes_ingest import NOW
from fuzz import mutate
from fuzz.laws import Target, law, one_message
from plants_ingest import plant_file
from senml_vectors import CBOR_DUMP, EXAMPLES
from steadybead_collector.config import load_plant_file
from steadybead_collector.ingest.intake import Intake
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.ingest.routes import Kind, Route, Routes
from steadybead_collector.ingest.weld_message import WeldMessageError, read_weld
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.mqtt.pointer import PointerError, number_at, parse_pointer, read_document
from steadybead_collector.mqtt.senml import Pack, decode_cbor, decode_json
from steadybead_collector.mqtt.senml_record import BASE_LABELS, REGULAR_LABELS, SenmlError
from steadybead_collector.outcomes import Outcome
from steadybead_domain.ids import BadNameError, ChannelId, StationId
from steadybead_domain.times import BadTimeError, format_rfc3339, parse_rfc3339

LABELS = (*sorted(BASE_LABELS | REGULAR_LABELS), "x", "must_", "N")
ROOT = "steadybead/v1"
_S = NOW / 1e6
PACKS: tuple[list[dict[str, Any]], ...] = (
    *(json.loads(text) for text, _ in EXAMPLES.values()),
    [
        {"bn": "gun-a/", "bt": _S, "n": "nozzle", "u": "mV", "v": 12.2},
        {"n": "terminal", "u": "Cel", "v": 24.5},
        {"n": "flow", "u": "mA", "t": -0.5, "v": 11.25},
        {"n": "stand", "u": "/", "vb": True},
    ],
    [{"n": "blower/pressure", "u": "Pa", "v": 6100, "t": -3}, {"n": "gun-a/flow", "v": 12}],
    [{"n": "gun-a/nozzle", "u": "V", "v": 0.0122, "t": _S}] * 3,
)
WELDS: tuple[dict[str, Any], ...] = (
    {"event": "start", "gun": "a", "time": "2026-05-04T07:30:00Z", "procedure": "pp-speed-nozzle"},
    {"event": "stop", "gun": "a", "time": "2026-05-04T08:30:00.25+02:00", "weld": "w-1"},
    {
        "event": "start",
        "gun": "a",
        "time": "2026-05-04T07:30:00Z",
        "job": "4711",
        "seam": "12",
        "welder": "Ana",
        "seam_length_mm": 5000,
        "beads": 3,
        "seam_kind": "double V",
        "remarks": "no",
        "qualification_expires": "2027-03-31",
    },
)
_JSON = [mutate.as_json(pack) for pack in PACKS]
_CBOR = [*map(cbor2.dumps, PACKS), CBOR_DUMP]
_NUMBERS = {"bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6, "n": 0, "u": 1, "v": 2}
_NUMBERS |= {"vs": 3, "vb": 4, "s": 5, "t": 6, "ut": 7, "vd": 8}


def senml_json(_: Path) -> Target:
    """Decode JSON packs; what was accepted, written out again, means the same."""
    modules = ("steadybead_collector.mqtt.senml", "steadybead_collector.mqtt.senml_record")
    return Target("SenML JSON", _make_json, _feed_json, _JSON, _feed_json, modules)


def senml_cbor(_: Path) -> Target:
    """Decode CBOR packs; the same pack as JSON means the same."""
    modules = ("steadybead_collector.mqtt.senml", "steadybead_collector.mqtt.senml_record")
    return Target("SenML CBOR", _make_cbor, _feed_cbor, _CBOR, _feed_cbor, modules)


def _make_json(draw: Random) -> bytes:
    if draw.random() < 0.4:
        return mutate.data(draw, _JSON)
    return mutate.as_json(mutate.tree(draw, draw.choice(PACKS), LABELS))


def _feed_json(payload: bytes) -> bool:
    try:
        pack = decode_json(payload)
    except SenmlError as error:
        return one_message(error.detail)
    again = decode_json(mutate.as_json([_written(record) for record in pack.records]))
    law(_meaning(again) == _meaning(pack), "written again, the pack means something else")
    return _told(pack)


def _make_cbor(draw: Random) -> bytes:
    kind = draw.random()
    if kind < 0.4:
        return mutate.data(draw, _CBOR)
    pack = mutate.tree(draw, draw.choice(PACKS), LABELS)
    if kind < 0.55:
        return _tagged(draw, pack)
    if draw.random() < 0.7 and isinstance(pack, list):
        pack = [_numbered(item) for item in pack]
    try:
        return cbor2.dumps(pack)
    except (cbor2.CBOREncodeError, ValueError):  # a lone surrogate has no UTF-8
        return mutate.data(draw, _CBOR)


def _tagged(draw: Random, pack: Any) -> bytes:
    """Put a tag of any number before any value, in the place of a record's value."""
    odd = b"".join(
        (
            _head(6, draw.choice((*range(6), 28, 29, 30, 35, 36, 37, 100, 258, 260, 1004, 55799))),
            draw.choice((cbor2.dumps(mutate.value(draw).__class__()), *_TAG_CONTENTS)),
        )
    )
    try:
        whole = cbor2.dumps(pack)
    except (cbor2.CBOREncodeError, ValueError):
        whole = draw.choice(_CBOR)
    place = draw.randrange(len(whole) + 1)
    return draw.choice((b"\x81\xa2\x00\x66gun-a/\x02" + odd, whole[:place] + odd + whole[place:]))


def _head(major: int, number: int) -> bytes:
    if number < 24:
        return bytes([major << 5 | number])
    size = 0 if number < 2**8 else 1 if number < 2**16 else 2 if number < 2**32 else 3
    return bytes([major << 5 | 24 + size]) + number.to_bytes(1 << size, "big")


_TAG_CONTENTS = (
    b"\x82\x1b\x7f\xff\xff\xff\xff\xff\xff\xff\x01",  # exponent and mantissa
    b"\x82\x3b\x00\x00\x00\x00\xff\xff\xff\xff\x1b\xff\xff\xff\xff\xff\xff\xff\xff",
    b"\x82\x1a\x05\xf5\xe1\x00\x03",
    b"\x82\x01\x00",
    b"\x9b\x7f\xff\xff\xff\xff\xff\xff\xff",  # an array that says it is endless
    b"\x9a\x0f\xff\xff\xff",
    b"\xbb\x00\x00\x00\x7f\xff\xff\xff\xff",
    b"\x5b\x00\x00\x00\x7f\xff\xff\xff\xff",
    b"\x5a\x3f\xff\xff\xff",
    b"\x9f\xff",
    b"\xbf\xff",
    b"\xa1\x80\x01",
    b"\xa1\xa0\x01",
    b"\x00",
    b"\x19\xff\xff",
    b"\x61*",
    b"\x78\x20(a+)+$(a+)+$(a+)+$(a+)+$(a+)+$",
    b"\x74" + b"2026-05-04T07:30:00Z",
    b"\x58\x20" + b"\xff" * 32,
    b"\xfb\x7f\xf0\x00\x00\x00\x00\x00\x00",
    b"\xfb\x7e\x37\xe4\x3c\x88\x00\x75\x9c",
    b"\x81" * 200,
    b"\xd8\x1c\x81\xd8\x1d\x00",  # an array that holds itself
    b"\xd9\x01\x02\x81\x80",
)


def _numbered(item: Any) -> Any:
    return {_NUMBERS.get(k, k): v for k, v in item.items()} if isinstance(item, dict) else item


def _feed_cbor(payload: bytes) -> bool:
    try:
        pack = decode_cbor(payload)
    except SenmlError as error:
        return one_message(error.detail)
    records = [_written(record) for record in pack.records]
    law(_meaning(decode_json(mutate.as_json(records))) == _meaning(pack), "as JSON it differs")
    law(_meaning(decode_cbor(cbor2.dumps(records))) == _meaning(pack), "as CBOR it differs")
    return _told(pack)


def _told(pack: Pack) -> bool:
    for refusal in pack.refused:
        one_message(refusal.detail)
    return bool(pack.records) or not pack.refused


def _written(record: Any) -> dict[str, Any]:
    """Write a resolved record without base values."""
    _, name, unit, time_us, value, total = record
    item: dict[str, Any] = {"n": name}
    if unit is not None:
        item["u"] = unit
    whole, rest = divmod(time_us, 1_000_000)
    item["t"] = whole if rest == 0 else time_us / 1_000_000
    if value is not None:
        label = {str: "vs", bool: "vb", bytes: "vd"}.get(type(value), "v")
        item[label] = value if label != "vd" else _base64url(value)
    if total is not None:
        item["s"] = total
    return item


def _base64url(octets: bytes) -> str:
    import base64  # noqa: PLC0415

    return base64.urlsafe_b64encode(octets).rstrip(b"=").decode()


def _meaning(pack: Pack) -> list[Any]:
    """Give records by what they say: a double holds µs up to 2**32 s, and not beyond."""
    return [
        (name, unit, time if abs(time) < 2**32 * 10**6 else round(time, -9), value, total)
        for _, name, unit, time, value, total in pack.records
    ]


class _Way:
    """The collector's own way in, up to converted readings, over a plant of two stations."""

    def __init__(self, folder: Path) -> None:
        self._plant = load_plant_file(plant_file(folder)).plant
        self._taken = 0
        self._fresh()

    def _fresh(self) -> None:
        self._intake = Intake(self._plant, ROOT, Receipts())

    def feed(self, sent: tuple[str, bytes]) -> bool:
        """Take one message in; every record of it is a reading or a refusal."""
        self._taken += 1
        if self._taken % 1000 == 0:
            self._fresh()
        topic, payload = sent
        message = Message(topic, payload, NOW + self._taken, self._taken % 65_535 + 1)
        decoded = self._intake.decode([message])
        receipts = self._intake.first_receipts(decoded, list)
        taken = self._intake.take([message], decoded, receipts)
        item = decoded[0]
        counts = item.refusals.counts()
        law(Outcome.INTERNAL not in counts, f"INTERNAL: {list(item.refusals.rows())[:1]}"[:300])
        for row in item.refusals.rows():
            one_message(row.detail)
            law(len(row.payload) <= 4096, "a quarantine row keeps too much")
        readings = sum(len(rows) for rows in taken.batch.columns.values())
        given = len(item.records) + len(item.picked)
        if item.shaped is not None:
            given = len(item.shaped.values)
        law(readings <= given, "more readings than records")
        law(readings + sum(counts.values()) >= given, "a record got lost")
        for rows in taken.batch.columns.values():
            law(bool((rows.time >= 0).all()), "a time before 1970")
        return not counts


def intake(folder: Path) -> Target:
    """Take whole messages in, by topic, as the collector does."""
    way = _Way(folder)
    topics = [f"{ROOT}/north/{s}/{k}" for s in ("bay-1", "bay-2") for k in ("senml", "senml-cbor")]
    topics += [
        "shop/meter7",
        "shop/dial",
        f"{ROOT}/north/bay-1/online",
        f"{ROOT}/north/bay-9/senml",
    ]
    own = PACKS[-3:]

    def make(draw: Random) -> tuple[str, bytes]:
        topic = draw.choice(topics)
        if topic.endswith("cbor"):
            return topic, _make_cbor(draw)
        if topic.startswith("shop"):
            seeds = (b'{"flow":{"now":300}}', b"300", b"[1,2,3]", b"true", b"3e400")
            return topic, mutate.data(draw, seeds)
        if draw.random() < 0.3:
            return topic, _make_json(draw)
        pack = draw.choice(own)
        changes = draw.choice((0, 1, 1, 2))
        return topic, mutate.as_json(mutate.tree(draw, pack, LABELS, changes) if changes else pack)

    return Target("messages, to readings", make, way.feed)


def topics(folder: Path) -> Target:
    """Find routes for topics; read names of stations and channels, and pointers."""
    plant = load_plant_file(plant_file(folder)).plant
    routes = Routes(plant, ROOT)
    levels = ("steadybead", "v1", "north", "bay-1", "senml", "senml-cbor", "weld", "online", "live")
    levels += ("alarm", "shop", "meter7", "gun-a", "nozzle", "+", "#", "$share", "", "x" * 70)
    documents = ({"flow": {"now": 300}}, [1, [2, {"a": True}]], 5, {"": {"": 1}}, "text", 10**400)

    def make(draw: Random) -> tuple[str, str, Any]:
        words = [draw.choice(levels) for _ in range(draw.randrange(9))]
        if draw.random() < 0.5:
            words = [*levels[:4], *words[:2]]
        if words and draw.random() < 0.4:
            place = draw.randrange(len(words))
            words[place] += draw.choice(mutate.ODD_TEXTS)
        pointer = "".join(
            draw.choice(("/", "~0", "~1", "~", "flow", "now", "0", "1", "00", "9" * 12, "é"))
            for _ in range(draw.randrange(7))
        )
        return "/".join(words), pointer, draw.choice(documents)

    def feed(given: tuple[str, str, Any]) -> bool:
        topic, pointer, document = given
        route = routes.of(topic)
        law(isinstance(route, Route | Outcome), "neither route nor outcome")
        if isinstance(route, Route) and route.kind is not Kind.OWN and route.slots is not None:
            law(topic.endswith(tuple(k for k in levels[4:8])), f"{topic!r} leads to a station")
        for name in (StationId, ChannelId):
            try:
                law(str(name.parse(topic)) == topic, "a name changes when it is read")
            except BadNameError as error:
                one_message(repr(str(error)))
        try:
            law(math.isfinite(number_at(document, parse_pointer(pointer))), "not finite")
        except PointerError as error:
            one_message(error.detail)
        except ValueError as error:
            one_message(str(error))
        return isinstance(route, Route)

    return Target("topics, names, pointers", make, feed)


def weld_messages(_: Path) -> Target:
    """Read starts and stops, and times."""
    station = StationId("north", "bay-1")
    seeds = [mutate.as_json(weld) for weld in WELDS]
    words = sorted({key for weld in WELDS for key in weld} | {"thickness_mm", "visual"})
    stamps = [
        b"2026-05-04T07:30:00Z",
        b"2026-05-04t07:30:00.123456789-23:59",
        b"0001-01-01T00:00:00Z",
    ]

    def make(draw: Random) -> bytes:
        if draw.random() < 0.3:
            return mutate.data(draw, seeds)
        weld = draw.choice(WELDS)
        if draw.random() < 0.3:
            time = mutate.data(draw, stamps).decode("utf-8", "surrogateescape")
            return mutate.as_json({**weld, "time": time})
        return mutate.as_json(mutate.tree(draw, weld, words))

    def feed(payload: bytes) -> bool:
        try:
            event = read_weld(payload, station, NOW)
        except WeldMessageError as error:
            return one_message(str(error))
        law(parse_rfc3339(format_rfc3339(event.time)) == event.time, "its time changes")
        members = {"event": str(event.kind.value), "gun": event.gun, "weld": event.weld}
        members |= {"time": format_rfc3339(event.time), **event.details.to_json()}
        said = {"procedure": event.procedure, "job": event.job}
        members |= {**said, "seam": event.seam, "welder": event.welder}
        law(
            read_weld(mutate.as_json(members), station, NOW) == event,
            "it changes when it is written",
        )
        return True

    return Target("weld messages", make, feed, seeds, feed)


def times(_: Path) -> Target:
    """Read RFC 3339 times."""
    seeds = [
        b"2026-05-04T07:30:00Z",
        b"2026-05-04t07:30:00.123456789-23:59",
        b"0001-01-01T00:00:00Z",
    ]
    seeds += [b"9999-12-31T23:59:59.999999-01:00", b"2024-02-29 00:00:60+05:30"]

    def feed(text: str) -> bool:
        try:
            time = parse_rfc3339(text)
        except BadTimeError as error:
            return one_message(repr(str(error)))
        law(parse_rfc3339(format_rfc3339(time)) == time, "the time changes when it is written")
        return True

    def make(draw: Random) -> str:
        return mutate.data(draw, seeds).decode("utf-8", "replace")

    return Target("times", make, feed)


def foreign_payloads(_: Path) -> Target:
    """Read payloads of devices that do not speak SenML."""
    seeds = [b'{"flow":{"now":300}}', b'[{"a":[1,2.5,{"b":true}]}]', b"12.5"]

    def feed(payload: bytes) -> bool:
        try:
            law(math.isfinite(number_at(read_document(payload), ("flow", "now"))), "not finite")
        except PointerError as error:
            return one_message(error.detail)
        return True

    return Target("foreign payloads", lambda draw: mutate.data(draw, seeds), feed, seeds, feed)
