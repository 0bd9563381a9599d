"""Readers of single values in a scenario file; BadSizeError or BadTimeError says the remedy."""

import datetime as dt
import math
from collections.abc import Callable
from typing import Any

from steadybead_domain.times import BadTimeError, parse_rfc3339
from steadybead_simulator.units import BadSizeError, size_of

Reader = Callable[[Any], Any]
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def size(dimension: str, low: float = -math.inf, high: float = math.inf) -> Reader:
    """Read a size with its unit, within limits."""

    def read(value: Any) -> float:
        size = size_of(value, dimension)
        if not low <= size <= high:
            raise BadSizeError(
                f"{value!r} is outside what can be: {low:g} to {high:g} ({dimension})"
            )
        return size

    return read


def number(low: float, high: float) -> Reader:
    """Read a plain number, within limits."""

    def read(value: Any) -> float:
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not low <= value <= high
        ):
            raise BadSizeError(f"{value!r}: write a number from {low:g} to {high:g}")
        return float(value)

    return read


def word(*known: str) -> Reader:
    """Read a text, one of the known ones if there are any."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or (known and value not in known):
            raise BadSizeError(f"{value!r}: write one of {', '.join(known) or 'a text'}")
        return value

    return read


def words(value: Any) -> tuple[str, ...]:
    """Read a list of names."""
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise BadSizeError(f'{value!r}: write a list of names, ["w-1"]')
    return tuple(value)


def flag(value: Any) -> bool:
    """Read true or false."""
    if not isinstance(value, bool):
        raise BadSizeError(f"{value!r}: write true or false")
    return value


def count(value: Any) -> int:
    """Read a whole number from 0."""
    return int(number(0, 1000)(value))


def moment(value: Any) -> int:
    """Read a date-time with its zone as µs since 1970."""
    if isinstance(value, dt.datetime) and value.tzinfo is not None:
        return parse_rfc3339(value.isoformat())
    if isinstance(value, str):
        return parse_rfc3339(value)
    raise BadTimeError(f"{value!s}: write it with its zone, 2026-03-02T06:30:00Z")


def clock(value: Any) -> float:
    """Read a time of day as s since midnight."""
    if isinstance(value, str):
        try:
            clock = dt.time.fromisoformat(value)
        except ValueError:
            clock = None
        if clock is not None and clock.tzinfo is None:
            return clock.hour * 3600.0 + clock.minute * 60.0 + clock.second
    raise BadSizeError(f'{value!r}: write a time of day, "07:30"')


def breaks(value: Any) -> tuple[tuple[float, float], ...]:
    """Read pairs of times of day."""
    if not isinstance(value, list) or any(not isinstance(b, list) or len(b) != 2 for b in value):
        raise BadSizeError(f'{value!r}: write pairs, [["09:15", "09:30"]]')
    return tuple((clock(a), clock(b)) for a, b in value)


def weekdays(value: Any) -> tuple[int, ...]:
    """Read names of days as numbers from Monday = 0."""
    named = words(value)
    if not named or any(w not in _DAYS for w in named):
        raise BadSizeError(f"{value!r}: name days out of {', '.join(_DAYS)}")
    return tuple(sorted({_DAYS.index(w) for w in named}))
