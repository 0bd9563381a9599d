"""`alarms`: what the collector raised, and what people do about it."""

from enum import StrEnum
from typing import Annotated, Any

from fastapi import Path, Query, Request
from pydantic import BaseModel, Field

from steadybead_api.access import AcknowledgingActor, Reader, ShelvingActor, services_of
from steadybead_api.fields import (
    Limit,
    PairCursor,
    Station,
    Time,
    Words,
    cursor_of,
    key_of,
)
from steadybead_api.problems import Problem
from steadybead_api.routers import api_router
from steadybead_api.schemas import AlarmActItem, AlarmFactItem, AlarmHistory, AlarmItem, Listed
from steadybead_api.services import Services
from steadybead_collector.records.alarms import Occurrence
from steadybead_collector.records.paging import Key
from steadybead_domain.alarms.codec import act_to_json, alarm_to_json, fact_to_json
from steadybead_domain.alarms.model import ActKind, Alarm, AlarmAct, AlarmState
from steadybead_domain.alarms.state import BadActError, alarm_state, checked_act
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor

router = api_router("alarms")
MOST_SCANNED = 20_000
_SEEN = (AlarmState.NORMAL, AlarmState.ACKNOWLEDGED)
AlarmId = Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,128}$")]


class Shown(StrEnum):
    """Which alarms: those that are not normal, or all that ever were."""

    OPEN = "open"
    ALL = "all"


class Acknowledgement(BaseModel):
    """What a person says with an acknowledgement."""

    reason: Words = ""
    of_raise: Time | None = Field(None, description="`since` of the alarm that the person saw")


class Shelving(BaseModel):
    """Until when an alarm is put aside, and why."""

    until: Time
    reason: Words


class Reason(BaseModel):
    """Why an alarm is taken out of service."""

    reason: Words


@router.get("/alarms", response_model=Listed[AlarmItem], summary="Alarms, the newest first")
def alarms(
    request: Request,
    _reader: Reader,
    state: Shown = Shown.OPEN,
    station: Annotated[Station | None, Query()] = None,
    limit: Limit = 1000,
    cursor: PairCursor = None,
) -> dict[str, Any]:
    """List alarm occurrences with their derived state."""
    services = services_of(request)
    where = None if station is None else StationId.parse(station)
    found, following = listed(services, limit, key_of(cursor), where, state)
    return {"items": [alarm_to_json(a) for a in found], "next": cursor_of(following)}


@router.get("/alarms/{alarm}", response_model=AlarmItem, summary="One alarm")
def alarm(request: Request, _reader: Reader, alarm: AlarmId) -> dict[str, Any]:
    """Give one alarm occurrence."""
    services = services_of(request)
    return alarm_to_json(_derived(_found(services, alarm), services.clock()))


@router.post(
    "/alarms/{alarm}/acknowledge", response_model=AlarmItem, summary="Acknowledge an alarm"
)
def acknowledge(
    request: Request,
    actor: AcknowledgingActor,
    alarm: AlarmId,
    said: Acknowledgement | None = None,
) -> dict[str, Any]:
    """Say that somebody has seen the alarm and takes care of it; twice is once."""
    said = said or Acknowledgement(reason="", of_raise=None)
    services = services_of(request)
    now = services.clock()
    stands = _derived(_found(services, alarm), now)
    seen = stands.last_raised if said.of_raise is None else said.of_raise
    if stands.state in _SEEN:
        return alarm_to_json(stands)
    act = AlarmAct(alarm, ActKind.ACKNOWLEDGE, now, actor.name, None, said.reason, seen)
    return _done(services, act, actor)


@router.post("/alarms/{alarm}/shelve", response_model=AlarmItem, summary="Shelve an alarm")
def shelve(
    request: Request, actor: ShelvingActor, alarm: AlarmId, said: Shelving
) -> dict[str, Any]:
    """Put the alarm aside until a time, at most 24 h ahead, with a reason."""
    services = services_of(request)
    now = services.clock()
    act = AlarmAct(alarm, ActKind.SHELVE, now, actor.name, said.until, said.reason)
    return _done(services, act, actor)


@router.post("/alarms/{alarm}/unshelve", response_model=AlarmItem, summary="End a shelving")
def unshelve(request: Request, actor: ShelvingActor, alarm: AlarmId) -> dict[str, Any]:
    """Take the alarm back from the shelf."""
    services = services_of(request)
    return _done(services, AlarmAct(alarm, ActKind.UNSHELVE, services.clock(), actor.name), actor)


@router.post(
    "/alarms/{alarm}/take-out-of-service",
    response_model=AlarmItem,
    summary="Take an alarm out of service",
)
def take_out(
    request: Request, actor: ShelvingActor, alarm: AlarmId, said: Reason
) -> dict[str, Any]:
    """Silence the alarm until somebody returns it to service, with a reason."""
    services = services_of(request)
    kind = ActKind.TAKE_OUT_OF_SERVICE
    return _done(
        services, AlarmAct(alarm, kind, services.clock(), actor.name, None, said.reason), actor
    )


@router.post(
    "/alarms/{alarm}/return-to-service",
    response_model=AlarmItem,
    summary="Return an alarm to service",
)
def give_back(request: Request, actor: ShelvingActor, alarm: AlarmId) -> dict[str, Any]:
    """Let the alarm speak again."""
    services = services_of(request)
    kind = ActKind.RETURN_TO_SERVICE
    return _done(services, AlarmAct(alarm, kind, services.clock(), actor.name), actor)


@router.get(
    "/alarms/{alarm}/history", response_model=AlarmHistory, summary="All that happened to an alarm"
)
def told(request: Request, _reader: Reader, alarm: AlarmId) -> dict[str, Any]:
    """Give the facts of the collector and the acts of people, as they were written."""
    found = _found(services_of(request), alarm)
    return {
        "facts": [_picked(fact_to_json(f), AlarmFactItem) for f in found.facts],
        "acts": [_picked(act_to_json(a), AlarmActItem) for a in found.acts],
    }


def listed(
    services: Services,
    limit: int,
    after: Key | None = None,
    station: StationId | None = None,
    state: Shown = Shown.OPEN,
) -> tuple[list[Alarm], Key | None]:
    """Give a page of alarms and the key of the next; scans a bounded number of records."""
    now = services.clock()
    only_open = now if state is Shown.OPEN else None
    found: list[Alarm] = []
    scanned = 0
    while True:
        page = services.records.alarms.page(limit - len(found), after, station, only_open)
        derived = [_derived(o, now) for o in page.items]
        wanted = state is Shown.ALL
        found += [a for a in derived if wanted or a.state is not AlarmState.NORMAL]
        scanned += len(derived)
        after = page.next
        if after is None or len(found) >= limit or scanned >= MOST_SCANNED:
            return found, after


def _picked(members: dict[str, Any], shape: type[BaseModel]) -> dict[str, Any]:
    return {name: members[name] for name in shape.model_fields}


def _found(services: Services, alarm: str) -> Occurrence:
    found = services.records.alarms.get(alarm)
    if found is None:
        raise Problem(404, "alarm", f"there is no alarm {alarm}")
    return found


def _derived(occurrence: Occurrence, now: int) -> Alarm:
    return alarm_state(occurrence.facts, occurrence.acts, now)


def _done(services: Services, act: AlarmAct, actor: Actor) -> dict[str, Any]:
    stands = _derived(_found(services, act.alarm), act.time)
    try:
        checked_act(act, stands)
    except BadActError as error:
        over = stands.state is AlarmState.NORMAL
        raise Problem(409 if over else 422, "act", str(error)) from None
    services.records.alarms.act(act, actor, "http")
    return alarm_to_json(_derived(_found(services, act.alarm), act.time))
