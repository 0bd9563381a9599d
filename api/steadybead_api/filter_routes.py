"""`filter-changes`: what was done to the intake filters, and what it changed."""

import secrets
from dataclasses import asdict
from typing import Annotated, Any

from fastapi import Query, Request, Response
from pydantic import BaseModel, ConfigDict

from steadybead_api.access import MaintainingActor, Reader, services_of
from steadybead_api.fields import (
    Limit,
    Name,
    PairCursor,
    Station,
    Time,
    Words,
    cursor_of,
    key_of,
)
from steadybead_api.filter_effect import effect
from steadybead_api.instrument_acts import act_of
from steadybead_api.instrument_routes import REPEAT, RecordId
from steadybead_api.maintenance_schemas import FilterChangeDetail, FilterChangeItem
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.services import Services
from steadybead_collector.records.revisions import NotKeptError, TakenError
from steadybead_domain.ids import StationId
from steadybead_domain.maintenance import FilterChange, FilterWork

router = api_router("maintenance")


class FilterChangeEntry(BaseModel):
    """Work on a filter; send your own `id`, and a repeat after a lost answer changes nothing.

    `time` is when it was done, now if absent. `changed` and `tapped out` let the forecast begin
    anew; `inspected` is noted and changes nothing.
    """

    model_config = ConfigDict(extra="forbid")

    id: Name | None = None
    station: Station
    kind: FilterWork = FilterWork.CHANGED
    time: Time | None = None
    note: Words = ""


@router.get(
    "/filter-changes",
    response_model=Listed[FilterChangeItem],
    summary="Work on intake filters, the latest first",
)
def filter_changes(
    request: Request,
    _reader: Reader,
    station: Annotated[Station | None, Query()] = None,
    limit: Limit = 1000,
    cursor: PairCursor = None,
) -> dict[str, Any]:
    """List what was done; entries are never changed or taken back."""
    where = None if station is None else StationId.parse(station)
    page = services_of(request).records.filter_changes.page(limit, key_of(cursor), where)
    return {"items": [c.to_json() for c in page.items], "next": cursor_of(page.next)}


@router.post(
    "/filter-changes",
    response_model=FilterChangeItem,
    status_code=201,
    summary="Record work on an intake filter",
    responses={200: {"model": FilterChangeItem, "description": REPEAT}},
)
def enter_filter_change(
    request: Request, response: Response, actor: MaintainingActor, said: FilterChangeEntry
) -> dict[str, Any]:
    """Keep the entry; nothing is kept if anything is wrong with it."""
    services = services_of(request)
    act = act_of(services, actor)
    station = _station(services, said.station)
    name = said.id or f"fc-{secrets.token_hex(8)}"
    known = services.records.filter_changes.get(name)
    time = said.time if said.time is not None else act.now if known is None else known.time
    item = FilterChange(station, time, said.kind, name, actor.name, act.now, said.note)
    try:
        kept, is_new = services.records.filter_changes.keep(item, act)
    except NotKeptError as error:
        errors = [{"at": p.field, "detail": p.text} for p in error.problems]
        raise Problem(422, "validation", str(error), errors=errors) from None
    except TakenError:
        text = f"filter change {name} stands there already with other contents: give another id"
        raise Problem(409, "filter-change", text) from None
    response.status_code = 201 if is_new else 200
    response.headers["Location"] = f"/api/v1/filter-changes/{kept.id}"
    return kept.to_json()


@router.get(
    "/filter-changes/{change}",
    response_model=FilterChangeDetail,
    summary="Work on a filter, with the pressure drop before and after",
)
def filter_change(request: Request, _reader: Reader, change: RecordId) -> dict[str, Any]:
    """Give one entry, and the mean drop of the ten minutes of running on either side."""
    services = services_of(request)
    found = services.records.filter_changes.get(change)
    if found is None:
        raise Problem(404, "filter-change", f"there is no filter change {change}")
    before, after = effect(services, found, services.records.filter_changes.all(found.station))
    shown = (None if drop is None else asdict(drop) for drop in (before, after))
    return {**found.to_json(), **dict(zip(("before", "after"), shown, strict=True))}


def _station(services: Services, name: str) -> StationId:
    found = StationId.parse(name)
    if services.plant().station(found) is None:
        text = f"station {name} is not in the plant file: choose one of the list of stations"
        raise Problem(422, "station", text, errors=[{"at": "station", "detail": text}])
    return found
