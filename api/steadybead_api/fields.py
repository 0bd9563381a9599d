"""The kinds of field that requests and answers share."""

import re
from typing import Annotated, Final

from fastapi import Query
from pydantic import BeforeValidator, PlainSerializer, StringConstraints, WithJsonSchema

from steadybead_api.problems import Problem
from steadybead_collector.records.paging import Key
from steadybead_domain.ids import BadNameError, ChannelId, StationId
from steadybead_domain.times import format_rfc3339, parse_rfc3339

MOST_ITEMS: Final = 10_000
_CURSOR = re.compile(r"-?\d{1,19}(_-?\d{1,19}){0,3}")
_STATION = {
    "type": "string",
    "pattern": "^[A-Za-z0-9_-]{1,64}/[A-Za-z0-9_-]{1,64}$",
    "examples": ["north/bay-1"],
}
_CHANNEL = {
    "type": "string",
    "pattern": "^[A-Za-z0-9_-]{1,64}(/[A-Za-z0-9_-]{1,64}){3}$",
    "examples": ["north/bay-1/gun-a/nozzle"],
}


def _time(value: object) -> int:
    if not isinstance(value, str):
        raise ValueError("write a text such as 2026-05-04T07:30:00Z (RFC 3339)")  # noqa: TRY004
    return parse_rfc3339(value)


def _station(value: object) -> StationId:
    return StationId.parse(str(value))


def _channel(value: object) -> ChannelId:
    return ChannelId.parse(str(value))


Time = Annotated[
    int,
    BeforeValidator(_time),
    PlainSerializer(format_rfc3339, return_type=str),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
"""µs inside, RFC 3339 outside."""

Words = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")
]
Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
Station = Annotated[str, BeforeValidator(lambda v: str(_station(v))), WithJsonSchema(_STATION)]
Channel = Annotated[str, BeforeValidator(lambda v: str(_channel(v))), WithJsonSchema(_CHANNEL)]
Limit = Annotated[int, Query(ge=1, le=MOST_ITEMS, description="items a page holds at most")]
Cursor = Annotated[
    str | None,
    Query(max_length=90, description="`next` of the page before; opaque, good for this list only"),
]


def key_of(cursor: str | None, length: int) -> Key | None:
    """Read a cursor of so many numbers; Problem 422."""
    if cursor is None:
        return None
    parts = cursor.split("_") if _CURSOR.fullmatch(cursor) else []
    numbers = tuple(int(part) for part in parts)
    if len(numbers) != length or any(abs(n) >= 2**63 for n in numbers):
        raise Problem(422, "cursor", "cursor: give `next` of the page before, unchanged")
    return numbers


def cursor_of(key: Key | None) -> str | None:
    """Write a cursor."""
    return None if key is None else "_".join(str(number) for number in key)


def station_id(site: str, station: str) -> StationId:
    """Make a station id of two parts of an address; Problem 404."""
    try:
        return StationId.parse(f"{site}/{station}")
    except BadNameError as error:
        raise Problem(404, "station", str(error)) from None
