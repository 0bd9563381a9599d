"""`readings`: one channel over an interval, raw or in buckets, as JSON, CSV or Parquet."""

from typing import Annotated, Any

from fastapi import Query, Request
from fastapi.responses import JSONResponse, Response

from steadybead_api import columns, export, negotiation
from steadybead_api.access import Reader, services_of
from steadybead_api.fields import (
    MOST_ITEMS,
    Channel,
    Cursor,
    Limit,
    Time,
    cursor_of,
    key_of,
)
from steadybead_api.figures import As, Figures
from steadybead_api.figures import figures as figures_of
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import BucketItem, Listed, ReadingItem
from steadybead_api.services import Services
from steadybead_domain.ids import ChannelId

router = api_router("readings")
READING_COLUMNS = ["time", "value", "unit", "quality", "reason"]
BUCKET_COLUMNS = ["start", "end", "n", "min", "mean", "max", "quality"]
OFFERED = (negotiation.JSON, negotiation.CSV, negotiation.PARQUET)
FILES: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {
            negotiation.CSV: {"schema": {"type": "string"}},
            negotiation.PARQUET: {"schema": {"type": "string", "format": "binary"}},
        }
    }
}


AsQuery = Annotated[As, Query(alias="as", description="with later calibrations applied, or not")]
Points = Annotated[int, Query(ge=1, le=MOST_ITEMS, description="buckets at most")]


@router.get(
    "/readings",
    response_model=Listed[ReadingItem] | Listed[BucketItem],
    responses=FILES,
    summary="Readings of one channel in [start, end)",
)
def readings(
    request: Request,
    _reader: Reader,
    channel: Annotated[Channel, Query()],
    start: Annotated[Time, Query()],
    end: Annotated[Time, Query()],
    points: Points | None = None,
    figures: AsQuery = As.RECORDED,
    limit: Limit = MOST_ITEMS,
    cursor: Cursor = None,
) -> Response:
    """Answer a page of JSON, or everything as CSV or Parquet, by `Accept`.

    With `points`, equal buckets instead of readings. `as=recalibrated` applies the calibrations in
    force; where none holds for a time, it gives what was recorded.
    """
    services = services_of(request)
    media = negotiation.chosen(request, OFFERED)
    if start > end:
        raise Problem(422, "interval", "start: it must not lie after end")
    name = ChannelId.parse(channel)
    unit = unit_of(services, name)
    source = figures_of(services, figures)
    if points is not None:
        return _buckets(source, name, start, end, points, media)
    if media == negotiation.JSON:
        return _page(source, name, unit, key_of(cursor) or (start,), end, limit)
    walk = columns.steps(source, name, start, end)
    parts = (columns.ReadingPart(part, unit) for part in walk)
    return export.download(media, READING_COLUMNS, parts, str(name))


def unit_of(services: Services, name: ChannelId) -> str:
    """Give a channel's unit; empty if only older versions of the plant knew it; Problem 404."""
    found = next((c for c in services.plant().channels() if c.id == name), None)
    if found is not None:
        return found.unit
    if name in services.readings.latest([name]):
        return ""
    raise Problem(404, "channel", f"channel {name} is not in the plant file and has no readings")


def _page(
    source: Figures, name: ChannelId, unit: str, key: tuple[int, ...], end: int, limit: int
) -> JSONResponse:
    found = columns.first_rows(source, name, key[0], end, limit + 1)
    shown = found.take(slice(0, limit))
    following = (int(found.time[limit]),) if len(found) > limit else None
    items = columns.rows(columns.reading_table(shown, unit))
    return JSONResponse({"items": items, "next": cursor_of(following)})


def _buckets(
    source: Figures, name: ChannelId, start: int, end: int, points: int, media: str
) -> Response:
    part = columns.BucketPart(source.buckets(name, start, end, points))
    if media == negotiation.JSON:
        return JSONResponse({"items": columns.rows(part.table()), "next": None})
    return export.download(media, BUCKET_COLUMNS, [part], str(name))
