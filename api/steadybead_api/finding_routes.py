"""`findings`: what the diagnosis concluded, with its numbers."""

from typing import Annotated, Any

from fastapi import Path, Query, Request

from steadybead_api.access import Reader, services_of
from steadybead_api.fields import Limit, PairCursor, Station, cursor_of, key_of
from steadybead_api.findings import Findings
from steadybead_api.maintenance_schemas import FindingItem
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_domain.ids import StationId

router = api_router("maintenance")
FindingId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
IsOpen = Annotated[
    bool | None, Query(alias="open", description="only those that stand, or only those that ended")
]


@router.get("/findings", response_model=Listed[FindingItem], summary="Findings, the newest first")
def findings(
    request: Request,
    _reader: Reader,
    station: Annotated[Station | None, Query()] = None,
    is_open: IsOpen = None,
    limit: Limit = 1000,
    cursor: PairCursor = None,
) -> dict[str, Any]:
    """List findings in their newest words; first, what holds of sensors now.

    Calibrations that are due and thermocouples that read what cannot be stand before the first
    page's findings and do not count for `limit`. Conditions that raise an alarm at once (heat,
    air, silence) are in the list of alarms.
    """
    where = None if station is None else StationId.parse(station)
    found = Findings(services_of(request))
    due = found.due(where) if cursor is None and is_open is not False else []
    page, following = found.page(limit, key_of(cursor), where, is_open=is_open)
    return {"items": [s.to_json() for s in [*due, *page]], "next": cursor_of(following)}


@router.get("/findings/{finding}", response_model=FindingItem, summary="One finding")
def finding(request: Request, _reader: Reader, finding: FindingId) -> dict[str, Any]:
    """Give one finding in its newest words."""
    found = Findings(services_of(request)).get(finding)
    if found is None:
        raise Problem(404, "finding", f"there is no finding {finding}")
    return found.to_json()
