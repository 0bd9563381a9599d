"""The kinds of field that requests and answers share."""

from collections.abc import Sequence
from typing import Annotated, Final, TypeVar

from fastapi import Query
from pydantic import BeforeValidator, Field, PlainSerializer, StringConstraints, WithJsonSchema

from steadybead_api.problems import Problem
from steadybead_collector.records.paging import Key
from steadybead_domain.ids import BadNameError, ChannelId, StationId
from steadybead_domain.times import format_rfc3339, parse_rfc3339

MOST_ITEMS: Final = 10_000
Item = TypeVar("Item")
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


_DATE_TIME = WithJsonSchema({"type": "string", "format": "date-time"})
Time = Annotated[int, BeforeValidator(_time), _DATE_TIME]
"""A time that is asked with: RFC 3339 outside, µs inside."""
TimeShown = Annotated[int, PlainSerializer(format_rfc3339, return_type=str), _DATE_TIME]
"""A time that is answered with: µs inside, RFC 3339 outside."""
TimeText = Annotated[str, _DATE_TIME]
"""A time that is answered with, written already."""

Words = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")
]
Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e9, le=1e9)]
"""A figure that a person reads off an instrument."""
Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
Station = Annotated[str, BeforeValidator(lambda v: str(_station(v))), WithJsonSchema(_STATION)]
Channel = Annotated[str, BeforeValidator(lambda v: str(_channel(v))), WithJsonSchema(_CHANNEL)]
Limit = Annotated[int, Query(ge=1, le=MOST_ITEMS, description="items a page holds at most")]
_ONE = r"-?[0-9]{1,18}"
_MEANING = "`next` of the page before; opaque, good for this list only"
Cursor = Annotated[str | None, Query(pattern=f"^{_ONE}$", description=_MEANING)]
PairCursor = Annotated[str | None, Query(pattern=f"^{_ONE}_{_ONE}$", description=_MEANING)]


def key_of(cursor: str | None) -> Key | None:
    """Read a cursor whose pattern was checked."""
    return None if cursor is None else tuple(int(part) for part in cursor.split("_"))


def cursor_of(key: Key | None) -> str | None:
    """Write a cursor."""
    return None if key is None else "_".join(str(number) for number in key)


def paged(
    items: Sequence[Item], limit: int, cursor: str | None
) -> tuple[Sequence[Item], str | None]:
    """Cut a page out of a list that is known as a whole; a cursor is a place in it."""
    place = max((key_of(cursor) or (0,))[0], 0)
    end = place + limit
    return items[place:end], cursor_of((end,)) if end < len(items) else None


def station_id(site: str, station: str) -> StationId:
    """Make a station id of two parts of an address; Problem 404."""
    try:
        return StationId.parse(f"{site}/{station}")
    except BadNameError as error:
        raise Problem(404, "station", str(error)) from None
