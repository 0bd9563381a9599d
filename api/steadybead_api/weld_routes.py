"""`welds`: records of seams, searched, started and stopped."""

from typing import Annotated, Any, Literal

from fastapi import Path, Query, Request, Response

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
from steadybead_api.routers import api_router
from steadybead_api.schemas import Listed
from steadybead_api.weld_entry import WeldAmendment, WeldSignature, WeldStart, WeldStop
from steadybead_api.weld_items import amendment_items, signature_item, weld_item, weld_items
from steadybead_api.weld_schemas import AmendmentItem, SignatureItem, WeldItem
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.ids import StationId

router = api_router("welds")
WeldId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
EXCURSION_KINDS = {"too cold": "c", "too hot": "h", "too little air": "l", "too much air": "m"}
ExcursionKind = Literal["too cold", "too hot", "too little air", "too much air"]
NameQuery = Annotated[Name | None, Query()]
WordsQuery = Annotated[Words | None, Query()]


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
    verdict: Annotated[
        Words | None, Query(description="word of the newest verdict; empty: none yet")
    ] = None,
    excursion: Annotated[bool | None, Query(description="with excursions, or without")] = None,
    excursion_kind: Annotated[
        ExcursionKind | None, Query(description="with an excursion of this kind")
    ] = None,
    limit: Limit = 1000,
    cursor: PairCursor = None,
) -> dict[str, Any]:
    """Search weld records; conditions given together must all hold."""
    if welder is not None and (reader is None or reader.role not in SEEING_WELDERS):
        raise Problem(403, "role", "a search by welder needs the quality role")
    where = None if station is None else StationId.parse(station)
    search = WeldSearch(
        where, gun, open, start, end, id, procedure, job, seam, welder, verdict, excursion,
        None if excursion_kind is None else EXCURSION_KINDS[excursion_kind],
    )  # fmt: skip
    services = services_of(request)
    page = services.records.welds.page(search, limit, key_of(cursor))
    return {"items": weld_items(services, page.items, reader), "next": cursor_of(page.next)}


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
    """Start a record; a record that runs on the gun ends there. A repeat changes nothing.

    With `stop`, enter a weld that is over; that ends nothing.
    """
    names = ("gun", "time", "weld", "procedure", "job", "seam", "welder", "stop", "reason")
    head = {name: getattr(said, name) for name in names}
    order = weld_acts.Order(StationId.parse(said.station), **head, details=said.details())
    weld, is_new = weld_acts.start(services_of(request), order, actor, "http")
    response.status_code = 201 if is_new else 200
    response.headers["Location"] = f"/api/v1/welds/{weld.id}"
    return weld_item(weld, actor) | {"welder": weld.welder}


@router.get("/welds/{weld}", response_model=WeldItem, summary="One weld record")
def weld(request: Request, reader: Reader, weld: WeldId) -> dict[str, Any]:
    """Give one record."""
    services = services_of(request)
    return weld_items(services, [weld_acts.the_weld(services, weld)], reader)[0]


@router.post("/welds/{weld}/stop", response_model=WeldItem, summary="Stop a weld record")
def stop(
    request: Request, actor: WeldingActor, weld: WeldId, said: WeldStop | None = None
) -> dict[str, Any]:
    """Stop a record; one that has ended stays as it is."""
    time = None if said is None else said.time
    return weld_item(weld_acts.stop(services_of(request), weld, time, actor, "http"), actor)


@router.get(
    "/welds/{weld}/amendments",
    response_model=Listed[AmendmentItem],
    summary="What was corrected in a record, the first amendment first",
)
def amendments(request: Request, reader: Reader, weld: WeldId) -> dict[str, Any]:
    """List the amendments of a record."""
    services = services_of(request)
    found = weld_acts.the_weld(services, weld)
    items = amendment_items(found, services.records.welds.amendments(weld), reader)
    return {"items": items, "next": None}


@router.post(
    "/welds/{weld}/amendments",
    response_model=WeldItem,
    status_code=201,
    summary="Amend a weld record",
    responses={200: {"model": WeldItem, "description": "nothing of it was new"}},
)
def amend(
    request: Request, response: Response, actor: WeldingActor, weld: WeldId, said: WeldAmendment
) -> dict[str, Any]:
    """Add an amendment; what was told before stays readable. Gives the record as it stands."""
    services = services_of(request)
    entry = weld_acts.Entry(said.reason, said.entry, said.acted)
    item, found = weld_acts.amend(services, weld, said.changes(), entry, actor)
    response.status_code = 200 if item is None else 201
    return weld_items(services, [found], actor)[0]


@router.get(
    "/welds/{weld}/signatures",
    response_model=Listed[SignatureItem],
    summary="Who signed a record off",
)
def signatures(request: Request, reader: Reader, weld: WeldId) -> dict[str, Any]:
    """List the sign-offs of a record."""
    services = services_of(request)
    found = weld_acts.the_weld(services, weld)
    signed = services.records.welds.signatures(weld)
    return {"items": [signature_item(found, s, reader) for s in signed], "next": None}


@router.post(
    "/welds/{weld}/signatures",
    response_model=SignatureItem,
    status_code=201,
    summary="Sign a record off",
)
def sign(
    request: Request, actor: WeldingActor, weld: WeldId, said: WeldSignature
) -> dict[str, Any]:
    """Sign as the welder or, with the quality role, as the supervisor; two persons are needed."""
    services = services_of(request)
    item = weld_acts.sign(services, weld, said.as_role, actor)
    return signature_item(weld_acts.the_weld(services, weld), item, actor)
