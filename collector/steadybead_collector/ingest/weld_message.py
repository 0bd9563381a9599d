"""The payload of the topic `weld`: what a station or a scanner says of a weld record."""

import base64
import hashlib
from typing import Any

import orjson

from steadybead_domain.ids import BadNameError, StationId, checked_name
from steadybead_domain.times import (
    FURTHEST_AHEAD,
    OLDEST_ABSOLUTE,
    BadTimeError,
    format_rfc3339,
    parse_rfc3339,
)
from steadybead_domain.weld_details import (
    DETAIL_NAMES,
    WeldDetails,
    detail_problems,
    details_from_json,
)
from steadybead_domain.welds import NO_DETAILS, WeldEvent, WeldEventKind

_TEXTS = ("procedure", "job", "seam", "welder")
_LONGEST_TEXT = 200


class WeldMessageError(ValueError):
    """A payload that is no start or stop; the message says what is wrong."""


class WeldTimeError(WeldMessageError):
    """A start or stop at a time that cannot be."""


def read_weld(payload: bytes, station: StationId, received: int) -> WeldEvent:
    """Read a start or stop; `weld` is empty where a stop names none. WeldMessageError."""
    data = _members(payload)
    kind = data.get("event")
    if kind not in ("start", "stop"):  # a list or a table is in no set
        raise WeldMessageError(f"event is {kind!r:.40}, not start or stop")
    gun = _name(data, "gun")
    if gun is None:
        raise WeldMessageError("gun is missing")
    time = _time(data, received)
    weld = _name(data, "weld")
    if weld is None and kind == "start":
        weld = made_id(station, gun, time)
    procedure, job, seam, welder = (_text(data, key) for key in _TEXTS)
    return WeldEvent(
        WeldEventKind(kind),
        weld or "",
        station,
        gun,
        time,
        f"station {station}",
        "mqtt",
        procedure,
        None,
        job,
        seam,
        welder,
        _details(data) if kind == "start" else NO_DETAILS,
    )


def made_id(station: StationId, gun: str, time: int) -> str:
    """Make the id of a record that was started without one: the same start, the same id."""
    digest = hashlib.sha256(f"{station}|{gun}|{time}".encode()).digest()
    return "w-" + base64.b32encode(digest[:10]).decode().lower()


def _members(payload: bytes) -> dict[str, Any]:
    try:
        data = orjson.loads(payload)
    except orjson.JSONDecodeError as fault:
        raise WeldMessageError(f"not JSON: {fault}"[:160]) from None
    if not isinstance(data, dict):
        raise WeldMessageError("the payload is not an object")
    return data


def _time(data: dict[str, Any], received: int) -> int:
    text = data.get("time")
    if not isinstance(text, str):
        raise WeldMessageError("time is missing")
    try:
        time = parse_rfc3339(text)
    except BadTimeError as error:
        raise WeldMessageError(str(error)) from None
    if not OLDEST_ABSOLUTE <= time <= received + FURTHEST_AHEAD:
        raise WeldTimeError(f"the time {format_rfc3339(time)} cannot be")
    return time


def _details(data: dict[str, Any]) -> WeldDetails:
    """Take what the message says of the weld log; a value that cannot be refuses the message."""
    said = {name: data[name] for name in DETAIL_NAMES if data.get(name) not in (None, "")}
    problems = detail_problems(said)
    if problems:
        raise WeldMessageError("; ".join(f"{at}: {text}" for at, text in problems)[:200])
    if any(isinstance(value, str) and "\0" in value for value in said.values()):
        raise WeldMessageError("a text holds a NUL character")
    return details_from_json(said)


def _name(data: dict[str, Any], key: str) -> str | None:
    value = data.get(key)
    if value is None or value == "":
        return None
    try:
        return checked_name(value, key)
    except (BadNameError, TypeError):
        raise WeldMessageError(f"{key} is {value!r:.40}: use 1 to 64 of A-Z a-z 0-9 _ -") from None


def _text(data: dict[str, Any], key: str) -> str | None:
    value = data.get(key)
    if value is None or value == "":
        return None
    if not isinstance(value, str) or len(value) > _LONGEST_TEXT or "\0" in value:
        raise WeldMessageError(f"{key} is no text of at most {_LONGEST_TEXT} characters")
    return value
