"""One SenML record (RFC 8428 sections 4.1 to 4.6): base values, types, names and times."""

import base64
import binascii
import math
import re
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any

from steadybead_collector.outcomes import Outcome

MICROSECONDS = 1_000_000
RELATIVE_BELOW_US = 2**28 * MICROSECONDS
VERSION = 10
BASE_LABELS = frozenset({"bver", "bn", "bt", "bu", "bv", "bs"})
REGULAR_LABELS = frozenset({"n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"})
_VALUES = ("v", "vs", "vb", "vd")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")
_BASE64URL = re.compile(r"[A-Za-z0-9_-]*")
LARGEST_TIME_S = 1e12

Value = float | str | bool | bytes | None
# place in the pack, name, unit, time in µs (relative where below RELATIVE_BELOW_US), value, sum
Record = tuple[int, str, str | None, int, Value, float | None]


class SenmlError(ValueError):
    """A pack or record that must not be used, with the word for it."""

    def __init__(self, outcome: Outcome, detail: str) -> None:
        super().__init__(detail)
        self.outcome, self.detail = outcome, detail


@lru_cache(maxsize=8192)
def valid_name(name: str) -> bool:
    """Tell whether RFC 8428 section 4.5.1 allows the whole name."""
    return _NAME.fullmatch(name) is not None


@dataclass(frozen=True, slots=True)
class Base:
    """The base values in force; `plain`: neither base value nor base sum changes a number."""

    name: str = ""
    time_us: int = 0
    unit: str | None = None
    value: float | None = None
    sum: float | None = None
    version: int | None = None
    plain: bool = True

    def updated(self, index: int, item: dict[Any, Any]) -> "Base":
        """Take over the base fields of a record; SenmlError for a wrong one: it reaches far."""
        get = item.get
        value = _optional(index, "bv", get("bv"), self.value)
        total = _optional(index, "bs", get("bs"), self.sum)
        return Base(
            _text(index, "bn", get("bn"), self.name) or "",
            _time_us(index, "bt", item["bt"]) if "bt" in item else self.time_us,
            _text(index, "bu", get("bu"), self.unit),
            value,
            total,
            self._version(index, get("bver")),
            value is None and total is None,
        )

    def _version(self, index: int, version: Any) -> int | None:
        if version is None:
            return self.version
        whole = type(version) is int or (type(version) is float and version.is_integer())
        if not whole or version < 1:
            raise SenmlError(Outcome.MALFORMED, f"record {index}: bver is no positive integer")
        if version > VERSION:
            raise SenmlError(Outcome.VERSION, f"record {index}: bver is {version}")
        if self.version is not None and version != self.version:
            raise SenmlError(Outcome.MALFORMED, f"record {index}: bver changes within the pack")
        return int(version)


BASELESS = Base()


def resolve_record(index: int, item: dict[Any, Any], base: Base) -> Record:
    """Resolve any record; raise SenmlError with what is wrong with it."""
    name = base.name + (_text(index, "n", item.get("n"), "") or "")
    if not valid_name(name):
        raise SenmlError(Outcome.NAME, f"record {index}: bad name {name[:80]!r}")
    unit = _text(index, "u", item.get("u"), base.unit)
    time_us = base.time_us + (_time_us(index, "t", item["t"]) if "t" in item else 0)
    if "ut" in item:
        _number(index, "ut", item["ut"])
    total = _total(index, item, base)
    given = [label for label in _VALUES if label in item]
    if len(given) > 1:
        raise SenmlError(Outcome.MALFORMED, f"record {index}: {given[0]} and {given[1]} together")
    if not given:
        if total is None and base.value is None:
            raise SenmlError(Outcome.NO_VALUE, f"record {index}: no value")
        return (index, name, unit, time_us, base.value, total)
    return (index, name, unit, time_us, _value(index, given[0], item, base), total)


def _value(index: int, label: str, item: dict[Any, Any], base: Base) -> Value:
    value = item[label]
    if label == "v":
        return _finite(index, label, _number(index, label, value) + (base.value or 0.0))
    if label == "vb" and type(value) is bool:
        return value
    if label == "vs" and type(value) is str:
        return value
    if label == "vd":
        return _octets(index, value)
    raise SenmlError(Outcome.MALFORMED, f"record {index}: {label} has the wrong type")


def _total(index: int, item: dict[Any, Any], base: Base) -> float | None:
    if "s" not in item:
        return base.sum
    return _finite(index, "s", _number(index, "s", item["s"]) + (base.sum or 0.0))


def _octets(index: int, value: Any) -> bytes:
    if type(value) is bytes:
        return value
    try:
        if type(value) is str and _BASE64URL.fullmatch(value):
            return base64.urlsafe_b64decode(value + "=" * (-len(value) % 4))
    except binascii.Error:
        pass
    raise SenmlError(Outcome.MALFORMED, f"record {index}: vd is not base64url without padding")


def _text(index: int, label: str, value: Any, default: str | None) -> str | None:
    if value is None:
        return default
    if type(value) is not str:
        raise SenmlError(Outcome.MALFORMED, f"record {index}: {label} is not a string")
    return value


def _optional(index: int, label: str, value: Any, default: float | None) -> float | None:
    return default if value is None else _finite(index, label, _number(index, label, value))


def _number(index: int, label: str, value: Any) -> float:
    if type(value) not in {int, float, Decimal}:
        raise SenmlError(Outcome.MALFORMED, f"record {index}: {label} is not a number")
    try:
        return float(value)
    except (OverflowError, ValueError):
        raise SenmlError(Outcome.NOT_FINITE, f"record {index}: {label} is too large") from None


def _finite(index: int, label: str, value: float) -> float:
    if not math.isfinite(value):
        raise SenmlError(Outcome.NOT_FINITE, f"record {index}: {label} is not finite")
    return value


def _time_us(index: int, label: str, value: Any) -> int:
    """Turn seconds into µs; a double below 2**32 s with six decimals comes out exact."""
    if not abs(_number(index, label, value)) <= LARGEST_TIME_S:
        raise SenmlError(Outcome.TIME, f"record {index}: {label} is beyond any date")
    return int(round(value * MICROSECONDS))  # noqa: RUF046  a Decimal from CBOR rounds too
