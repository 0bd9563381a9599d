"""RFC 8428: its printed examples, and each rule of sections 4 to 6 by itself."""

from decimal import Decimal
from typing import Any

import cbor2
import orjson
import pytest

from senml_vectors import CBOR_DUMP, EXAMPLES, NOW, Resolved
from steadybead_collector.mqtt.senml import Pack, decode_cbor, decode_json
from steadybead_collector.mqtt.senml_record import RELATIVE_BELOW_US, SenmlError
from steadybead_collector.outcomes import Outcome


def _resolved(pack: Pack) -> list[tuple[str, str | None, int, Any]]:
    now_us = NOW * 1_000_000
    return [
        (name, unit, time + now_us if time < RELATIVE_BELOW_US else time, value)
        for _, name, unit, time, value, _ in pack.records
    ]


def _expected(rows: list[Resolved]) -> list[tuple[str, str | None, int, Any]]:
    return [(n, u, int(Decimal(repr(t)) * 1_000_000), v) for n, u, t, v in rows]


@pytest.mark.parametrize("title", EXAMPLES)
def test_each_printed_example_resolves_as_printed(title: str) -> None:
    text, rows = EXAMPLES[title]
    pack = decode_json(text.encode())
    assert pack.refused == []
    assert _resolved(pack) == _expected(rows)


@pytest.mark.parametrize("title", EXAMPLES)
def test_cbor_of_each_example_gives_the_same_records(title: str) -> None:
    labels = {"bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6, "n": 0, "u": 1,
              "v": 2, "vs": 3, "vb": 4, "s": 5, "t": 6, "ut": 7, "vd": 8}  # fmt: skip
    items = orjson.loads(EXAMPLES[title][0])
    octets = [{k: b"hi \n" if k == "vd" else v for k, v in item.items()} for item in items]
    packed = cbor2.dumps([{labels.get(k, k): v for k, v in item.items()} for item in octets])
    assert decode_cbor(packed) == decode_json(orjson.dumps(items))


def test_the_printed_cbor_dump_is_the_example_of_section_5_1_2() -> None:
    text, _ = EXAMPLES["5.1.2 several points at a time"]
    assert decode_cbor(CBOR_DUMP) == decode_json(text.encode())


def _one(text: str) -> tuple[int, str, str | None, int, Any, float | None]:
    pack = decode_json(text.encode())
    assert pack.refused == []
    assert len(pack.records) == 1
    return pack.records[0]


def _fault(text: str) -> Outcome:
    with pytest.raises(SenmlError) as caught:
        decode_json(text.encode())
    return caught.value.outcome


def _refused(text: str) -> list[tuple[int, Outcome]]:
    return [(r.index, r.outcome) for r in decode_json(text.encode()).refused]


def test_base_value_and_base_sum_are_added() -> None:
    assert _one('[{"bn":"a","bv":20,"bs":100,"v":1.5,"s":7}]')[4:] == (21.5, 107.0)
    assert _one('[{"bn":"a","bs":100,"v":1.5}]')[4:] == (1.5, 100.0)
    assert _one('[{"bn":"a","bv":20},{"n":"b"}]')[4:] == (20.0, None)
    assert _one('[{"n":"b","s":4}]')[4:] == (None, 4.0)


def test_a_base_field_holds_until_the_next_record_that_has_it() -> None:
    text = '[{"bn":"a/","bu":"V","n":"x","v":1},{"n":"y","v":2},{"bu":"A","n":"z","v":3}]'
    pack = decode_json(text.encode())
    assert [(r[1], r[2]) for r in pack.records] == [("a/x", "V"), ("a/y", "V"), ("a/z", "A")]


def test_records_keep_their_place_past_records_without_a_reading() -> None:
    pack = decode_json(b'[{"bn":"a/"},{"n":"x","v":1},{"n":"y"},{"n":"z","v":2}]')
    assert [r[0] for r in pack.records] == [1, 3]
    assert [(r.index, r.outcome) for r in pack.refused] == [(2, Outcome.NO_VALUE)]


def test_a_label_that_must_be_understood_refuses_the_pack() -> None:
    assert _fault('[{"n":"a","v":1},{"n":"b","v":1,"x_":1}]') is Outcome.MUST_UNDERSTAND
    assert _fault('[{"bn":"a","bx_":1}]') is Outcome.MUST_UNDERSTAND
    assert _one('[{"n":"a","v":1,"x":1,"_y":2}]')[4] == 1.0


def test_versions() -> None:
    assert _one('[{"bver":10,"n":"a","v":1}]')[4] == 1.0
    assert _fault('[{"bver":11,"n":"a","v":1}]') is Outcome.VERSION
    for wrong in ("0", "-1", "1.5", '"10"', "true"):
        assert _fault(f'[{{"bver":{wrong},"n":"a","v":1}}]') is Outcome.MALFORMED
    assert _fault('[{"bver":5,"n":"a","v":1},{"bver":6,"n":"b","v":1}]') is Outcome.MALFORMED


@pytest.mark.parametrize("name", ["", "-a", "_a", "a b", "a?", "ä", "a\\u0000", ":a", "/a", "a\\n"])
def test_names_outside_the_allowed_characters_are_refused(name: str) -> None:
    assert _refused(f'[{{"n":"{name}","v":1}},{{"n":"good","v":1}}]') == [(0, Outcome.NAME)]


@pytest.mark.parametrize("name", ["a", "9", "A-b:c.d/e_f"])
def test_allowed_names(name: str) -> None:
    assert _one(f'[{{"n":"{name}","v":1}}]')[1] == name


@pytest.mark.parametrize(
    ("record", "outcome"),
    [
        ('{"n":"a","v":"1"}', Outcome.MALFORMED),
        ('{"n":"a","v":true}', Outcome.MALFORMED),
        ('{"n":"a","v":null}', Outcome.MALFORMED),
        ('{"n":"a","vb":1}', Outcome.MALFORMED),
        ('{"n":"a","vs":1}', Outcome.MALFORMED),
        ('{"n":"a","vd":"a+/b"}', Outcome.MALFORMED),
        ('{"n":"a","vd":"aGkgCg=="}', Outcome.MALFORMED),
        ('{"n":"a","vd":"a"}', Outcome.MALFORMED),
        ('{"n":"a","v":1,"vs":"x"}', Outcome.MALFORMED),
        ('{"n":"a","v":1,"t":"x"}', Outcome.MALFORMED),
        ('{"n":"a","v":1,"ut":"x"}', Outcome.MALFORMED),
        ('{"n":"a","v":1,"s":"x"}', Outcome.MALFORMED),
        ('{"n":"a","v":1,"u":5}', Outcome.MALFORMED),
        ('{"n":5,"v":1}', Outcome.MALFORMED),
        ('{"n":"a"}', Outcome.NO_VALUE),
        ('{"n":"a","t":5,"ut":5}', Outcome.NO_VALUE),
        ('{"n":"a","v":NaN}', Outcome.NOT_FINITE),
        ('{"n":"a","v":-Infinity}', Outcome.NOT_FINITE),
        ('{"n":"a","v":1e999}', Outcome.NOT_FINITE),
        ('{"n":"a","v":1,"s":NaN}', Outcome.NOT_FINITE),
        ('{"n":"a","v":1,"t":1e300}', Outcome.TIME),
        ('{"n":"a","v":1,"t":NaN}', Outcome.TIME),
        ("{}", Outcome.NAME),
        ('{"l":1}', Outcome.NAME),
    ],
)
def test_a_wrong_record_is_refused_and_its_neighbours_stay(record: str, outcome: Outcome) -> None:
    text = f'[{{"n":"x","v":1}},{record},{{"n":"y","v":2}}]'
    pack = decode_json(text.encode())
    assert [(r.index, r.outcome) for r in pack.refused] == [(1, outcome)]
    assert [r[1] for r in pack.records] == ["x", "y"]


@pytest.mark.parametrize(
    "text",
    ["", "{}", "1", "null", '"x"', "[1]", "[[]]", '[{"n":"a","v":1}', '[{"n":"a","v":1}]x',
     '[{"bn":1}]', '[{"bt":"x"}]', '[{"bu":1}]', '[{"bv":"x"}]', '[{"bs":true}]', "[{n:1}]",
     "[" * 5000],
)  # fmt: skip
def test_a_pack_that_cannot_be_trusted_is_refused_whole(text: str) -> None:
    assert _fault(text) is Outcome.MALFORMED


@pytest.mark.parametrize("payload", [b"\xff\xfe[\x00]\x00", b"\xef\xbb\xbf[]", b'["\xe9"]'])
def test_only_utf8_without_a_mark_is_json(payload: bytes) -> None:
    with pytest.raises(SenmlError):
        decode_json(payload)


@pytest.mark.parametrize(
    "payload",
    [b"", b"\x80\x00", b"\xa0", b"\x81\x01", b"\x9b" + b"\xff" * 8, b"\x81" * 5000, b"\x81\xa1\x02",
     b"\x5b\x00\x00\x00\xff\xff\xff\xff\xff", b"\xd8\x1c\x81\xd8\x1d\x00"],
)  # fmt: skip
def test_what_is_no_cbor_pack_is_refused_whole(payload: bytes) -> None:
    with pytest.raises(SenmlError) as caught:
        decode_cbor(payload)
    assert caught.value.outcome is Outcome.MALFORMED


def test_cbor_numbers_may_be_decimal_fractions_and_arrays_indefinite() -> None:
    record = {0: "a", 2: Decimal("1.25"), 6: Decimal("1600000000.123456")}
    assert decode_cbor(cbor2.dumps([record])).records == [
        (0, "a", None, 1_600_000_000_123_456, 1.25, None)
    ]
    stream = b"\x9f" + cbor2.dumps({0: "a", 2: 1}) + b"\xff"
    assert decode_cbor(stream).records[0][4] == 1.0


@pytest.mark.parametrize("value", [float("nan"), float("inf"), Decimal("NaN"), Decimal("1E+999")])
def test_cbor_values_that_are_not_finite_are_refused(value: Any) -> None:
    pack = decode_cbor(cbor2.dumps([{0: "a", 2: value}]))
    assert [r.outcome for r in pack.refused] == [Outcome.NOT_FINITE]


def test_relative_times_end_below_two_to_the_28_seconds() -> None:
    assert _one('[{"n":"a","v":1,"t":268435455.999999}]')[3] < RELATIVE_BELOW_US
    assert _one('[{"n":"a","v":1,"t":268435456}]')[3] == RELATIVE_BELOW_US
    assert _one('[{"n":"a","v":1,"t":-3.5}]')[3] == -3_500_000
    assert _one('[{"bt":268435000,"n":"a","v":1,"t":456}]')[3] == RELATIVE_BELOW_US
