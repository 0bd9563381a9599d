"""Sizes written with their unit (`"8 K"`, `"2 d 6 h"`) and units on the wire."""

import math
import re
from dataclasses import dataclass

from steadybead_domain.readings import Float64


class BadSizeError(ValueError):
    """A size that cannot be read; the message says how to write it."""


@dataclass(frozen=True, slots=True)
class Unit:
    """`base value = factor · value + offset`, in the base unit of `dimension`."""

    dimension: str
    factor: float
    offset: float = 0.0


_UNITS = {
    "us": Unit("time", 1e-6),
    "ms": Unit("time", 1e-3),
    "s": Unit("time", 1.0),
    "min": Unit("time", 60.0),
    "h": Unit("time", 3600.0),
    "d": Unit("time", 86_400.0),
    "Pa": Unit("pressure", 1.0),
    "hPa": Unit("pressure", 100.0),
    "mbar": Unit("pressure", 100.0),
    "kPa": Unit("pressure", 1000.0),
    "bar": Unit("pressure", 1e5),
    "Cel": Unit("temperature", 1.0),
    "K": Unit("temperature", 1.0, -273.15),
    "[degF]": Unit("temperature", 5.0 / 9.0, -160.0 / 9.0),
    "L/min": Unit("flow", 1.0),
    "l/min": Unit("flow", 1.0),
    "L/s": Unit("flow", 60.0),
    "m3/h": Unit("flow", 1000.0 / 60.0),
    "m3/s": Unit("flow", 60_000.0),
    "V": Unit("voltage", 1.0),
    "mV": Unit("voltage", 1e-3),
    "A": Unit("current", 1.0),
    "mA": Unit("current", 1e-3),
    "W": Unit("power", 1.0),
    "kW": Unit("power", 1000.0),
    "N": Unit("force", 1.0),
    "mm/min": Unit("speed", 1.0),
    "m/s": Unit("speed", 60_000.0),
    "%": Unit("percent", 1.0),
    "%RH": Unit("humidity", 1.0),
    "/": Unit("ratio", 1.0),
    "mm": Unit("length", 1.0),
    "m": Unit("length", 1000.0),
    "mg/m3": Unit("dust", 1.0),
    "ppm": Unit("rate", 1.0),
    "count": Unit("count", 1.0),
    "times": Unit("times", 1.0),
}
_PART = re.compile(r"\s*([+-]?\d+(?:\.\d*)?(?:[eE][+-]?\d+)?)\s*([^\s\d+-][^\s]*)\s*")
_EXAMPLES = {
    "time": '"40 s", "15 min" or "2 d 6 h"',
    "pressure": '"250 Pa"',
    "temperature": '"340 Cel"',
    "difference": '"8 K"',
    "flow": '"51 L/min"',
    "voltage": '"230 V"',
    "percent": '"30 %"',
    "length": '"4 mm"',
    "dust": '"0.4 mg/m3"',
    "rate": '"20 ppm"',
    "times": '"12 times"',
}


def size_of(text: object, dimension: str) -> float:
    """Read a size as a number in the base unit of its dimension; BadSizeError with an example.

    `difference` is a temperature difference, where K and Cel are the same; parts of a time add up.
    """
    example = _EXAMPLES[dimension]
    if not isinstance(text, str):
        raise BadSizeError(f"{text!r} has no unit: write it as {example}")
    parts, end = [], 0
    while (match := _PART.match(text, end)) is not None:
        parts.append((float(match[1]), match[2]))
        end = match.end()
    if not parts or end != len(text) or (len(parts) > 1 and dimension != "time"):
        raise BadSizeError(f"{text!r} cannot be read: write it as {example}")
    size = sum(_base(number, name, dimension, text, example) for number, name in parts)
    if not math.isfinite(size):
        raise BadSizeError(f"{text[:40]!r} is larger than any number: write it as {example}")
    return size


def _base(number: float, name: str, dimension: str, text: str, example: str) -> float:
    unit = _UNITS.get(name)
    if dimension == "difference" and name in {"K", "Cel"}:
        return number
    if unit is None or unit.dimension != dimension:
        what = "unknown" if unit is None else f"a {unit.dimension}"
        raise BadSizeError(f"{text!r}: unit {name!r} is {what}, wanted a {dimension}: {example}")
    return unit.factor * number + unit.offset


def same_dimension(one: str, other: str) -> bool:
    """Tell whether two known units measure the same thing."""
    return one in _UNITS and other in _UNITS and _UNITS[one].dimension == _UNITS[other].dimension


def convert(value: Float64, unit: str, to: str) -> Float64:
    """Convert values [n] between two units of one dimension; KeyError if a unit is unknown."""
    if unit == to:
        return value
    here, there = _UNITS[unit], _UNITS[to]
    return (here.factor * value + here.offset - there.offset) / there.factor
