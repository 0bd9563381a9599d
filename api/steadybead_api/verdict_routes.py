"""`welds/{id}/verdict`: heat and air of a record, held to its procedure."""

from typing import Annotated, Any

from fastapi import Query, Request

from steadybead_api import reach, weld_acts
from steadybead_api.access import Reader, services_of
from steadybead_api.fields import Name, station_id
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.verdict import weld_verdict
from steadybead_api.verdict_keeper import keep_verdict
from steadybead_api.verdict_schemas import ReachList, VerdictItem
from steadybead_api.weld_routes import WeldId
from steadybead_domain.verdict.codec import verdict_json

router = api_router("welds")


@router.get(
    "/welds/{weld}/verdict",
    response_model=VerdictItem,
    summary="Heat and air of a record: conforms, does not conform, or cannot tell",
)
def verdict_of_weld(request: Request, _reader: Reader, weld: WeldId) -> dict[str, Any]:
    """Judge a record by what is on record now. It is about heat and air; no weld passes by it."""
    services = services_of(request)
    found = weld_acts.the_weld(services, weld)
    verdict = weld_verdict(services, found)
    keep_verdict(services, found, verdict)
    return verdict_json(verdict)


@router.get(
    "/stations/{site}/{station}/reach",
    response_model=ReachList,
    summary="Whether a gun's channels can ever say that they conform to a procedure",
)
def reach_of_gun(
    request: Request,
    _reader: Reader,
    site: str,
    station: str,
    gun: Annotated[Name, Query()],
    procedure: Annotated[Name, Query()],
) -> dict[str, Any]:
    """Tell before a procedure is assigned what its guard bands would leave of its windows."""
    services = services_of(request)
    place = services.plant().station(station_id(site, station))
    if place is None or gun not in place.guns:
        raise Problem(404, "gun", f"there is no gun {gun} at {site}/{station}")
    found = services.records.procedures.get(procedure)
    if found is None:
        raise Problem(404, "procedure", f"there is no procedure {procedure}")
    items = reach.reach(services, place, gun, found.procedure)
    return {"procedure": procedure, "items": [reach.reach_json(item) for item in items]}
