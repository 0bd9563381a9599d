"""`work-list`: what maintenance has to do and when, as JSON and as a calendar feed."""

from typing import Annotated, Any

from fastapi import Query, Request, Response

from steadybead_api.access import Reader, current_actor, services_of, unauthorized
from steadybead_api.fields import TimeShown
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import Answer, Listed
from steadybead_api.work import work_now
from steadybead_domain.people import Role
from steadybead_domain.work_list import WorkItem

router = api_router("maintenance")
CALENDAR = "text/calendar; charset=utf-8"


class WorkListItem(Answer):
    """A piece of work. `due` is a forecast where `earliest` and `latest` (4 times in 5) stand."""

    id: str
    kind: str
    station: str
    gun: str | None
    channel: str | None
    what: str
    to_do: str
    due: TimeShown
    earliest: TimeShown | None
    latest: TimeShown | None
    overdue: bool


@router.get("/work-list", response_model=Listed[WorkListItem], summary="What is to be done, when")
def work(request: Request, _reader: Reader) -> dict[str, Any]:
    """List filter changes, calibrations and checks by the day on which they are due."""
    services = services_of(request)
    now = services.clock()
    return {"items": [_written(item, now) for item in work_now(services)], "next": None}


@router.get(
    "/work-list.ics",
    response_class=Response,
    responses={200: {"content": {"text/calendar": {"schema": {"type": "string"}}}}},
    summary="The work list as a calendar feed",
)
def work_feed(
    request: Request,
    token: Annotated[
        str | None, Query(max_length=200, description="a viewer's token, for calendars")
    ] = None,
) -> Response:
    """Give the feed; a calendar that cannot send headers carries a viewer's token in the address.

    Tokens of other roles are refused there: addresses stand in logs and histories.
    """
    from steadybead_api.work_calendar import feed  # noqa: PLC0415  slow to load

    services = services_of(request)
    _check(request, token)
    plant = services.plant()
    body = feed(
        work_now(services),
        {s.id: s.name for s in plant.stations},
        plant.name or plant.site,
        plant.timezone,
        services.clock(),
    )
    return Response(body, media_type=CALENDAR, headers={"Cache-Control": "no-store"})


def _check(request: Request, token: str | None) -> None:
    services = services_of(request)
    if token is not None:
        actor = services.records.access.token_actor(token)
        if actor is None:
            raise unauthorized()
        if actor.role is not Role.VIEWER:
            remedy = "make one for the calendar: steadybead token --role viewer"
            raise Problem(403, "role", f"only a viewer's token may stand in an address; {remedy}")
    elif services.access.read != "open" and current_actor(request) is None:
        raise unauthorized()


def _written(item: WorkItem, now: int) -> dict[str, Any]:
    return {
        "id": item.id,
        "kind": item.kind.value,
        "station": str(item.station),
        "gun": item.gun,
        "channel": None if item.channel is None else str(item.channel),
        "what": item.what,
        "to_do": item.to_do,
        "due": item.due,
        "earliest": item.earliest,
        "latest": item.latest,
        "overdue": item.is_overdue(now),
    }
