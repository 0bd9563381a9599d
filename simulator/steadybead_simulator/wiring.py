"""Read a channel's wiring: conversion, foreign source, flow meter."""

import math
from typing import Any

from steadybead_domain.conversion.specs import (
    Conversion,
    CurrentLoop,
    FlowPrinciple,
    FlowReference,
    Linear,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.plant import FlowMeter, PointerSource
from steadybead_domain.quantities import Quantity
from steadybead_simulator.places import Document, Path
from steadybead_simulator.thermocouple import TYPES
from steadybead_simulator.units import same_dimension

_KINDS: dict[str, type[Conversion]] = {
    "thermocouple": Thermocouple,
    "current_loop": CurrentLoop,
    "voltage_loop": VoltageLoop,
    "pulse": PulseCounter,
    "square_root": SquareRoot,
    "linear": Linear,
}
_POSITIVE = {"litres_per_pulse", "rolls_over_at", "at_full", "full_drop_pa"}
_APART = (("at_4_ma", "at_20_ma"), ("at_low", "at_high"), ("low_v", "high_v"))
_WORDS = {"type", "to"}


def read_conversion(document: Document, here: Path, table: dict[str, Any]) -> Conversion | None:
    """Read `conversion`; None where there is none."""
    if "conversion" not in table:
        return None
    where: Path = (*here, "conversion")
    inner = document.table(where, table)
    kind = _KINDS.get(str(inner.get("kind")))
    if kind is None:
        raise document.fail(where, f"kind is one of {', '.join(_KINDS)}")
    members = {k: v for k, v in inner.items() if k not in {"kind", "reference"}}
    if kind is Linear:
        members = {"offset": 0.0, **members}
    wrong = next((k for k, v in members.items() if not _possible(k, v)), None)
    if wrong is None:
        wrong = next((b for a, b in _APART if a in members and members[a] == members.get(b)), None)
    if wrong is not None:
        raise document.fail(where, f"{wrong} = {members[wrong]!r} cannot be: write another")
    try:
        return kind(**members)
    except TypeError:
        wanted = ", ".join(kind.__dataclass_fields__)
        raise document.fail(where, f"{inner['kind']} takes {wanted}") from None


def _possible(name: str, value: object) -> bool:
    if name in _WORDS or (name == "cold_junction" and isinstance(value, str)):
        return isinstance(value, str)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return False
    if name == "rolls_over_at" and not isinstance(value, int):
        return False
    return value > 0 if name in _POSITIVE else not (name == "factor" and value == 0)


def read_source(document: Document, here: Path, table: dict[str, Any]) -> PointerSource | None:
    """Read `source`; None where there is none."""
    if "source" not in table:
        return None
    where: Path = (*here, "source")
    inner = document.table(where, table)
    topic, pointer = inner.get("topic"), inner.get("pointer", "")
    if not isinstance(topic, str) or not topic or set("+#") & set(topic):
        raise document.fail(where, 'a source names one topic: topic = "shop/meter/7"')
    if not isinstance(pointer, str) or (pointer and not pointer.startswith("/")):
        raise document.fail(where, 'write pointer = "/a/b" (RFC 6901), or "" for a plain number')
    return PointerSource(topic, pointer)


def check_wire(
    document: Document, here: Path, spec: Conversion | None, *, unit: str, quantity: Quantity
) -> None:
    """Refuse what the simulator cannot speak."""
    if isinstance(spec, Thermocouple) and spec.type not in TYPES:
        known = ", ".join(TYPES)
        message = f"the simulator has no thermocouple of type {spec.type!r}: use one of {known}"
        raise document.fail((*here, "conversion"), message)
    starts = {Thermocouple: "mV", CurrentLoop: "mA", VoltageLoop: "V", SquareRoot: "Pa"}
    wanted = quantity.facts.unit if spec is None else starts.get(type(spec), unit)
    if unit != wanted and not same_dimension(unit, wanted):
        message = f"the simulator cannot speak unit {unit!r} here: use {wanted}"
        raise document.fail((*here, "unit"), message)
    to = getattr(spec, "to", None)
    if to is not None and not same_dimension(to, quantity.facts.unit):
        message = f"the simulator cannot convert {to!r}: use to = {quantity.facts.unit!r}"
        raise document.fail((*here, "conversion"), message)


def read_meter(document: Document, here: Path, table: dict[str, Any]) -> FlowMeter:
    """Read principle, reference and position; the reference may stand with the conversion."""
    said = {**table.get("conversion", {}), **table}
    try:
        return FlowMeter(
            FlowPrinciple(said.get("principle", "actual_volume")),
            FlowReference(said.get("reference", "actual")),
            str(said.get("position", "not stated")),
        )
    except ValueError as error:
        known = ", ".join((*(p.value for p in FlowPrinciple), *(r.value for r in FlowReference)))
        where = "principle" if "FlowPrinciple" in str(error) else "reference"
        message = f"flow meter: {error}: known are {known}"
        raise document.fail((*here, where), message) from None
