"""Read the `[[fault]]` tables of a scenario file."""

import datetime as dt
import difflib
import math
from collections.abc import Iterable, Iterator
from typing import Any

from steadybead_domain.plant import Channel, Plant, Station
from steadybead_domain.times import SECOND, BadTimeError, parse_rfc3339
from steadybead_simulator.faults import KINDS, Fault, FaultKind, Seat
from steadybead_simulator.places import Document, FileError, Path
from steadybead_simulator.units import BadSizeError, size_of

_KEYS = ("kind", "station", "gun", "channel", "at", "lasts", "every", "times", "over", "size", "id")
_MOST_REPEATS = 10_000


def read_faults(document: Document, plant: Plant, start_us: int | None) -> list[Fault]:
    """Read all faults, by onset; FileError names the line and the remedy."""
    rows = document.data.get("fault", [])
    if not isinstance(rows, list) or not all(isinstance(r, dict) for r in rows):
        raise document.fail(("fault",), "fault is a list of tables: write [[fault]]")
    faults = [f for i, r in enumerate(rows) for f in _fault(document, plant, start_us, i, r)]
    _check_overlaps(document, faults)
    return sorted(faults, key=lambda f: (f.start_s, f.id))


def _fault(
    document: Document, plant: Plant, start_us: int | None, i: int, row: dict[str, Any]
) -> Iterator[Fault]:
    here: Path = ("fault", i)
    for name in row:
        if name not in _KEYS:
            near = difflib.get_close_matches(name, _KEYS, 1)
            remedy = f"did you mean {near[0]}?" if near else f"known are {', '.join(_KEYS)}"
            raise document.fail((*here, name), f"{name!r} is not known here: {remedy}")
    kind = _kind(document, here, row)
    station = _station(document, here, row, plant)
    gun, channel = _seat(document, here, row, kind, station)
    size = _size(document, here, row, kind)
    at = _onset(document, here, row, start_us)
    lasts = _time(document, here, row, "lasts", math.inf)
    over = _time(document, here, row, "over", 0.0)
    if over > 0.0 and not kind.gradual:
        raise document.fail((*here, "over"), f"{kind.name} comes at once: leave over out")
    every, times = _repeats(document, here, row, lasts)
    name = str(row.get("id", f"fault-{i + 1}"))
    line = document.places.line(here)
    for k in range(times):
        start = at + k * every
        shown = name if times == 1 else f"{name}.{k + 1}"
        yield Fault(
            shown, kind, station.id.station, gun, channel, start, start + lasts, size, over, line
        )


def _kind(document: Document, here: Path, row: dict[str, Any]) -> FaultKind:
    name = row.get("kind")
    if isinstance(name, str) and name in KINDS:
        return KINDS[name]
    near = difflib.get_close_matches(str(name), KINDS, 1)
    remedy = f"did you mean {near[0]}?" if near else f"known are {', '.join(KINDS)}"
    raise document.fail((*here, "kind"), f"no fault of kind {name!r}: {remedy}")


def _station(document: Document, here: Path, row: dict[str, Any], plant: Plant) -> Station:
    for station in plant.stations:
        if station.id.station == row.get("station"):
            return station
    known = ", ".join(s.id.station for s in plant.stations[:12])
    message = f"no station {row.get('station')!r} in the plant file: known are {known}"
    raise document.fail((*here, "station"), message)


def _seat(
    document: Document, here: Path, row: dict[str, Any], kind: FaultKind, station: Station
) -> tuple[str | None, str | None]:
    gun, channel = row.get("gun"), row.get("channel")
    extra = {Seat.STATION: ("gun", "channel"), Seat.GUN: ("channel",), Seat.CHANNEL: ("gun",)}
    for name in extra[kind.seat]:
        if name in row:
            raise document.fail((*here, name), f"{kind.name} sits on a {kind.seat}: drop {name}")
    if kind.seat is Seat.GUN and gun not in station.guns:
        known = ", ".join(station.guns)
        raise document.fail((*here, "gun"), f"no gun {gun!r} here: known are {known}")
    if kind.seat is Seat.CHANNEL:
        return None, _fitting(document, here, channel, kind, station.channels)
    return gun, None


def _fitting(
    document: Document, here: Path, name: object, kind: FaultKind, channels: Iterable[Channel]
) -> str:
    fit = [c.id.channel for c in channels if c.quantity in kind.quantities]
    if name not in fit:
        known = ", ".join(fit) or "none: choose another station"
        message = f"{kind.name} cannot sit on channel {name!r}: it can on {known}"
        raise document.fail((*here, "channel"), message)
    return str(name)


def _size(document: Document, here: Path, row: dict[str, Any], kind: FaultKind) -> float:
    if kind.dimension is None:
        if "size" in row:
            raise document.fail((*here, "size"), f"{kind.name} has no size: drop it")
        return 1.0
    try:
        size = size_of(row.get("size"), kind.dimension)
    except BadSizeError as error:
        raise document.fail((*here, "size"), f"size of {kind.name}: {error}") from None
    if not kind.low <= size <= kind.high or size == 0.0:
        limits = f"{kind.low:g} to {kind.high:g}, and not 0"
        raise document.fail((*here, "size"), f"{row['size']!r} cannot be: {kind.name} is {limits}")
    return size


def _time(document: Document, here: Path, row: dict[str, Any], name: str, default: float) -> float:
    if name not in row:
        return default
    try:
        size = size_of(row[name], "time")
    except BadSizeError as error:
        raise document.fail((*here, name), f"{name}: {error}") from None
    if size <= 0.0:
        raise document.fail((*here, name), f"{name}: {row[name]!r} must be more than 0 s")
    return size


def _onset(document: Document, here: Path, row: dict[str, Any], start_us: int | None) -> float:
    at = row.get("at")
    if isinstance(at, dt.datetime):
        at = at.isoformat()
    try:
        if isinstance(at, str) and "T" in at:
            if start_us is None:
                message = 'at is a date, so [scenario] needs start = …; or count from it: "90 s"'
                raise document.fail((*here, "at"), message)
            onset = (parse_rfc3339(at) - start_us) / SECOND
        else:
            onset = size_of(at, "time")
    except (BadSizeError, BadTimeError) as error:
        raise document.fail((*here, "at"), f"at: {error}") from None
    if onset < 0.0:
        raise document.fail((*here, "at"), f"at: {at!r} lies before the scenario's start")
    return onset


def _repeats(
    document: Document, here: Path, row: dict[str, Any], lasts: float
) -> tuple[float, int]:
    every = _time(document, here, row, "every", 0.0)
    if every == 0.0:
        return 0.0, 1
    if lasts >= every:
        raise document.fail((*here, "every"), "it comes again before it has gone: lasts < every")
    times = row.get("times", 200)
    if not isinstance(times, int) or not 1 <= times <= _MOST_REPEATS:
        raise document.fail((*here, "times"), f"times is a whole number, 1 to {_MOST_REPEATS}")
    return every, times


def _check_overlaps(document: Document, faults: list[Fault]) -> None:
    """Refuse two faults of one group on one place at one time."""
    last: dict[tuple[object, ...], Fault] = {}
    for fault in sorted(faults, key=lambda f: f.start_s):
        key = (fault.seat, fault.kind.group or fault.kind.name)
        before = last.get(key)
        if before is not None and before.end_s > fault.start_s:
            message = (
                f"line {fault.line}: {fault.kind.name} ({fault.id}) overlaps {before.kind.name} "
                f"({before.id}, line {before.line}) on the same place: give the first lasts = … "
                "or start the second later"
            )
            raise FileError(f"{document.name}, {message}")
        last[key] = fault
