"""`welds/{id}/table`: the trace side by side, for a spreadsheet or a notebook."""

import io

from fastapi import Request, Response

from steadybead_api import columns, negotiation, trace, weld_acts
from steadybead_api.access import Reader, services_of
from steadybead_api.figures import As
from steadybead_api.problems import Problem
from steadybead_api.readings_routes import FILES, AsQuery
from steadybead_api.routers import api_router
from steadybead_api.side_by_side import csv_of, joined, side_by_side
from steadybead_api.weld_routes import WeldId

router = api_router("welds")
OFFERED = (negotiation.CSV, negotiation.PARQUET)


@router.get(
    "/welds/{weld}/table",
    response_class=Response,
    responses=FILES,
    summary="The trace of a weld record side by side: a row a time, a column a channel",
)
def table_of_weld(
    request: Request, _reader: Reader, weld: WeldId, figures: AsQuery = As.RECORDED
) -> Response:
    """Answer with CSV or Parquet; 409 for a record with too many readings for one table."""
    services = services_of(request)
    media = negotiation.chosen(request, OFFERED)
    found = weld_acts.the_weld(services, weld)
    wanted = trace.frame(services, found, figures)
    try:
        traces = [
            (c, joined(columns.steps(wanted.source, c.id, wanted.start, wanted.end)))
            for c in wanted.channels
        ]
    except ValueError as error:
        raise Problem(409, "too-long", str(error)) from None
    table = side_by_side(traces)
    suffix = "csv" if media == negotiation.CSV else "parquet"
    if media == negotiation.CSV:
        body = csv_of(table)
    else:
        sink = io.BytesIO()
        table.to_parquet(sink, index=False)
        body = sink.getvalue()
    disposition = f'attachment; filename="weld-{found.id}-table.{suffix}"'
    return Response(body, media_type=media, headers={"Content-Disposition": disposition})
