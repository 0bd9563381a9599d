"""`welds`: records of seams, searched, started and stopped."""

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import BaseModel

from steadybead_api import weld_acts
from steadybead_api.access import SEEING_WELDERS, Reader, WeldingActor, services_of
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
from steadybead_api.problems import Problem
from steadybead_api.schemas import Listed, WeldItem
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor
from steadybead_domain.welds import Weld

router = APIRouter(tags=["welds"])
WeldId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
NameQuery = Annotated[Name | None, Query()]
WordsQuery = Annotated[Words | None, Query()]


class WeldStart(BaseModel):
    """A start; `weld` and `time` are made here if they are absent."""

    station: Station
    gun: Name
    time: Time | None = None
    weld: Name | None = None
    procedure: Name | None = None
    job: Words | None = None
    seam: Words | None = None
    welder: Words | None = None


class WeldStop(BaseModel):
    """A stop, now if no time is given."""

    time: Time | None = None


@router.get("/welds", response_model=Listed[WeldItem], summary="Weld records, the latest first")
def welds(
    request: Request,
    reader: Reader,
    station: Annotated[Station | None, Query()] = None,
    gun: NameQuery = None,
    open: Annotated[bool | None, Query(description="running records only, or none of them")] = None,  # noqa: A002
    start: Annotated[Time | None, Query(description="began at or after")] = None,
    end: Annotated[Time | None, Query(description="began before")] = None,
    id: Annotated[Name | None, Query(description="beginning of the id")] = None,  # noqa: A002
    procedure: NameQuery = None,
    job: WordsQuery = None,
    seam: WordsQuery = None,
    welder: Annotated[Words | None, Query(description="needs the quality role")] = None,
    limit: Limit = 1000,
    cursor: PairCursor = None,
) -> dict[str, Any]:
    """Search weld records; conditions given together must all hold."""
    if welder is not None and (reader is None or reader.role not in SEEING_WELDERS):
        raise Problem(403, "role", "a search by welder needs the quality role")
    where = None if station is None else StationId.parse(station)
    search = WeldSearch(where, gun, open, start, end, id, procedure, job, seam, welder)
    page = services_of(request).records.welds.page(search, limit, key_of(cursor))
    return {"items": [weld_item(w, reader) for w in page.items], "next": cursor_of(page.next)}


@router.post(
    "/welds",
    response_model=WeldItem,
    status_code=201,
    summary="Start a weld record",
    responses={200: {"model": WeldItem, "description": "the record was already started"}},
)
def start(
    request: Request, response: Response, actor: WeldingActor, said: WeldStart
) -> dict[str, Any]:
    """Start a record; a record that runs on the gun ends there. A repeat changes nothing."""
    order = weld_acts.Order(**{**dict(said), "station": StationId.parse(said.station)})
    weld, is_new = weld_acts.start(services_of(request), order, actor, "http")
    response.status_code = 201 if is_new else 200
    response.headers["Location"] = f"/api/v1/welds/{weld.id}"
    return asdict_of(weld)


@router.get("/welds/{weld}", response_model=WeldItem, summary="One weld record")
def weld(request: Request, reader: Reader, weld: WeldId) -> dict[str, Any]:
    """Give one record."""
    return weld_item(weld_acts.the_weld(services_of(request), weld), reader)


@router.post("/welds/{weld}/stop", response_model=WeldItem, summary="Stop a weld record")
def stop(
    request: Request, actor: WeldingActor, weld: WeldId, said: WeldStop | None = None
) -> dict[str, Any]:
    """Stop a record; one that has ended stays as it is."""
    time = None if said is None else said.time
    return weld_item(weld_acts.stop(services_of(request), weld, time, actor, "http"), actor)


def weld_item(weld: Weld, reader: Actor | None) -> dict[str, Any]:
    """Describe a record; its welder is shown to quality and to the welder."""
    item = asdict_of(weld)
    if reader is None or (reader.role not in SEEING_WELDERS and reader.name != weld.welder):
        item["welder"] = None
    return item


def asdict_of(weld: Weld) -> dict[str, Any]:
    """Describe a record with everything."""
    return {**asdict(weld), "station": str(weld.station)}
