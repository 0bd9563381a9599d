"""`welds/{id}/trace`: columns for charts, CSV and Parquet for everything."""

from typing import Annotated, Any

import orjson
from fastapi import Query, Request, Response

from steadybead_api import export, negotiation, trace, weld_acts
from steadybead_api.access import Reader, services_of
from steadybead_api.columns import Table
from steadybead_api.fields import Cursor, cursor_of, key_of
from steadybead_api.figures import As
from steadybead_api.procedure_routes import procedure_item
from steadybead_api.readings_routes import FILES, OFFERED, AsQuery
from steadybead_api.routers import api_router
from steadybead_api.weld_items import weld_items
from steadybead_api.weld_routes import WeldId
from steadybead_api.weld_schemas import Trace, TracedChannel

router = api_router("welds")
OF_A_CHANNEL = frozenset(TracedChannel.model_fields)
TracePoints = Annotated[
    int, Query(ge=1, le=5_000, description="buckets for each channel, instead of readings")
]


@router.get(
    "/welds/{weld}/trace",
    response_model=Trace,
    responses=FILES,
    summary="The trace of a weld record, with 60 s before and after",
)
def trace_of_weld(
    request: Request,
    reader: Reader,
    weld: WeldId,
    points: TracePoints | None = None,
    figures: AsQuery = As.RECORDED,
    cursor: Cursor = None,
) -> Any:
    """Answer in columns, a page of at most 10,000 readings a channel; or a file of everything.

    `as=recalibrated` applies the calibrations in force.
    """
    services = services_of(request)
    media = negotiation.chosen(request, OFFERED)
    found = weld_acts.the_weld(services, weld)
    wanted = trace.frame(services, found, figures)
    if media != negotiation.JSON:
        tables = trace.rows_of(wanted)
        return export.download(media, trace.CSV_COLUMNS, tables, f"weld-{found.id}")
    following = None
    if points is not None:
        channels = trace.bucketed(services, wanted, points)
    else:
        start = (key_of(cursor) or (wanted.start,))[0]
        channels, following = trace.raw_page(services, wanted, start)
    return _in_columns(
        {
            "weld": weld_items(services, [found], reader)[0],
            "procedure": None if wanted.procedure is None else procedure_item(wanted.procedure),
            "start": wanted.start,
            "end": wanted.end,
            "next": None if following is None else cursor_of((following,)),
        },
        channels,
    )


def _in_columns(head: dict[str, Any], channels: list[Table]) -> Response:
    """Write the answer; its long columns are as we made them and are not gone through again."""
    bare = [{n: table[n] if n in OF_A_CHANNEL else [] for n in table} for table in channels]
    answer = Trace.model_validate({**head, "channels": bare}).model_dump(mode="json")
    for shown, table in zip(answer["channels"], channels, strict=True):
        shown |= {name: table[name] for name in table if name not in OF_A_CHANNEL}
    return Response(orjson.dumps(answer), media_type=negotiation.JSON)
