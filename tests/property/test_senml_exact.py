"""Numbers and times of SenML keep every digit that the wire can carry."""

import json
import struct
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import cbor2
from hypothesis import given, settings
from hypothesis import strategies as st

from steadybead_collector.mqtt.senml import Pack, decode_cbor, decode_json
from steadybead_collector.mqtt.senml_record import SenmlError
from steadybead_collector.outcomes import Outcome

# 2020 to 2106 (2**32 s): there a double holds seconds with six decimals without ambiguity.
times_us = st.integers(1_577_836_800_000_000, 2**32 * 1_000_000 - 1)
offsets_us = st.integers(-86_400_000_000, 5_000_000)
finite = st.floats(allow_nan=False, allow_infinity=False)


def _seconds(time_us: int) -> str:
    return f"{Decimal(time_us).scaleb(-6):f}"


@settings(deadline=None)
@given(times_us)
def test_a_time_with_six_decimals_is_exact(time_us: int) -> None:
    pack = decode_json(f'[{{"n":"a","v":1,"t":{_seconds(time_us)}}}]'.encode())
    assert pack.records[0][3] == time_us


@settings(deadline=None)
@given(times_us, offsets_us)
def test_base_time_and_time_add_up_exactly(base_us: int, offset_us: int) -> None:
    text = f'[{{"bn":"a","bt":{_seconds(base_us)},"t":{_seconds(offset_us)},"v":1}}]'
    assert decode_json(text.encode()).records[0][3] == base_us + offset_us


@settings(deadline=None)
@given(times_us)
def test_cbor_times_are_exact_as_double_and_as_decimal_fraction(time_us: int) -> None:
    seconds = Decimal(time_us).scaleb(-6)
    for value in (float(seconds), seconds):
        assert decode_cbor(cbor2.dumps([{0: "a", 2: 1, 6: value}])).records[0][3] == time_us


@settings(deadline=None)
@given(finite)
def test_a_value_keeps_its_bits(value: float) -> None:
    payload = json.dumps([{"n": "a", "v": value}]).encode()
    read = decode_json(payload).records[0][4]
    assert isinstance(read, float)
    assert struct.pack("<d", read) == struct.pack("<d", value)
    packed = decode_cbor(cbor2.dumps([{0: "a", 2: value}])).records[0][4]
    assert isinstance(packed, float)
    assert struct.pack("<d", packed) == struct.pack("<d", value)


names = st.text("abz/_-:.09 é", max_size=6)
anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=8,
)
labels = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x"]
)
records = st.dictionaries(labels, anything | names, max_size=6)


@settings(deadline=None)
@given(st.lists(records, max_size=5) | anything)
def test_any_json_is_decoded_or_refused_with_a_word(items: Any) -> None:
    pack = _decoded_or_word(decode_json, json.dumps(items).encode())
    if isinstance(pack, Pack):
        places = sorted([r[0] for r in pack.records] + [r.index for r in pack.refused])
        assert places == sorted(set(places))
    else:
        assert pack.refused


@settings(deadline=None)
@given(st.binary(max_size=64))
def test_any_bytes_are_decoded_or_refused_with_a_word(payload: bytes) -> None:
    for decode in (decode_json, decode_cbor):
        result = _decoded_or_word(decode, payload)
        assert isinstance(result, Pack) or result.refused


def _decoded_or_word(decode: Callable[[bytes], Pack], payload: bytes) -> Pack | Outcome:
    try:
        return decode(payload)
    except SenmlError as error:
        return error.outcome
