"""SenML packs (RFC 8428), JSON and CBOR, resolved into plain records in one pass."""

import json
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

import cbor2
import orjson

from steadybead_collector.mqtt.senml_record import (
    BASE_LABELS,
    BASELESS,
    LARGEST_TIME_S,
    MICROSECONDS,
    REGULAR_LABELS,
    Base,
    Record,
    SenmlError,
    valid_name,
)
from steadybead_collector.mqtt.senml_record import resolve_record as resolve_one
from steadybead_collector.outcomes import Outcome

_PLAIN = frozenset({"n", "u", "t", "v"})
_PLAIN_AND_BASE = _PLAIN | BASE_LABELS
_CBOR_LABELS: dict[Any, str] = {
    -1: "bver",
    -2: "bn",
    -3: "bt",
    -4: "bu",
    -5: "bv",
    -6: "bs",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}


@dataclass(frozen=True, slots=True)
class Refusal:
    """One record that was refused, by its place in the pack."""

    index: int
    outcome: Outcome
    detail: str


@dataclass(slots=True)
class Pack:
    """A pack's records in the sender's order, and the records that were refused."""

    records: list[Record] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)


def decode_json(payload: bytes) -> Pack:
    """Decode `application/senml+json`; raise SenmlError if no record of it can be trusted."""
    return resolve(read_json(payload))


def decode_cbor(payload: bytes) -> Pack:
    """Decode `application/senml+cbor`; raise SenmlError if no record of it can be trusted."""
    return resolve(read_cbor(payload))


def read_json(payload: bytes) -> Any:
    """Read JSON as it stands, NaN and numbers beyond a double included. SenmlError."""
    try:
        return orjson.loads(payload)
    except orjson.JSONDecodeError as error:
        return _lenient_json(payload, str(error))


def read_cbor(payload: bytes) -> Any:
    """Read CBOR; the integer labels of records become their JSON names. SenmlError."""
    stream = BytesIO(payload)
    try:
        items = cbor2.load(stream)
    except (cbor2.CBORError, ValueError, OverflowError, RecursionError, MemoryError) as fault:
        raise SenmlError(Outcome.MALFORMED, f"not CBOR: {_cut(fault)}") from None
    if stream.tell() != len(payload):
        raise SenmlError(Outcome.MALFORMED, "not CBOR: bytes follow the array")
    if type(items) is list:
        items = [_with_text_labels(item) if type(item) is dict else item for item in items]
    return items


def resolve(items: Any) -> Pack:
    """Apply base values; times become µs, still relative where below 2**28 s. SenmlError."""
    if type(items) is not list:
        raise SenmlError(Outcome.MALFORMED, "the payload is not an array of records")
    pack, base = Pack(), BASELESS
    append = pack.records.append
    for index, item in enumerate(items):
        if type(item) is not dict:
            raise SenmlError(Outcome.MALFORMED, f"record {index} is not an object")
        plain = item.keys() <= _PLAIN
        if not plain:
            base = _look_at_labels(index, item, base)
            if _is_base_only(item):
                continue
            plain = item.keys() <= _PLAIN_AND_BASE
        if plain and base.plain:
            record = _resolve_plain(index, item, base)
            if record is not None:
                append(record)
                continue
        try:
            append(resolve_one(index, item, base))
        except SenmlError as fault:
            pack.refused.append(Refusal(index, fault.outcome, fault.detail))
    return pack


def _resolve_plain(index: int, item: dict[str, Any], base: Base) -> Record | None:
    """Resolve a record of n, u, t, v only; None: look closer, something is unusual."""
    get = item.get
    value, time, unit = get("v"), get("t", 0), get("u", base.unit)
    kind, time_kind = type(value), type(time)
    if (kind is not float and kind is not int) or (time_kind is not float and time_kind is not int):
        return None
    try:
        name = base.name + get("n", "")
        time_us = base.time_us + round(time * MICROSECONDS)
        number = float(value)  # type: ignore[arg-type]  # its type was looked at above
    except (TypeError, ValueError, OverflowError):
        return None
    well = number - number == 0.0 and valid_name(name) and -LARGEST_TIME_S < time < LARGEST_TIME_S
    well = well and (unit is None or type(unit) is str)
    return (index, name, unit, time_us, number, None) if well else None


def _look_at_labels(index: int, item: dict[Any, Any], base: Base) -> Base:
    for label in item:
        if type(label) is str and label.endswith("_"):
            raise SenmlError(Outcome.MUST_UNDERSTAND, f"record {index} has {label[:40]!r}")
    return base if item.keys().isdisjoint(BASE_LABELS) else base.updated(index, item)


def _is_base_only(item: dict[Any, Any]) -> bool:
    return item.keys().isdisjoint(REGULAR_LABELS) and not item.keys().isdisjoint(BASE_LABELS)


def _with_text_labels(item: dict[Any, Any]) -> dict[Any, Any]:
    return {_CBOR_LABELS.get(label, label): value for label, value in item.items()}


def _lenient_json(payload: bytes, fault: str) -> Any:
    """Read JSON with NaN or numbers beyond a double in it, so that only those are refused."""
    try:
        return json.loads(payload.decode("utf-8"))
    except (ValueError, RecursionError):
        raise SenmlError(Outcome.MALFORMED, f"not JSON: {fault[:160]}") from None


def _cut(error: BaseException) -> str:
    return f"{type(error).__name__}: {error}"[:160]
