"""Starting, stopping, amending and signing a weld record on somebody's behalf."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from steadybead_api.access import SEEING_WELDERS, SUPERVISING
from steadybead_api.problems import Problem
from steadybead_api.services import Services
from steadybead_collector.records.revisions import NotKeptError, TakenError
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor
from steadybead_domain.times import FURTHEST_AHEAD, OLDEST_ABSOLUTE, SECOND, format_rfc3339
from steadybead_domain.weld_amendments import AS_SUPERVISOR, Amendment, Signature
from steadybead_domain.weld_details import detail_problems, details_from_json
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind

SLACK: Final = 10 * SECOND  # pages and devices tell the time that well


@dataclass(frozen=True, slots=True)
class Entry:
    """Around an amendment: why, the id that the sender gave it, and when somebody acted (µs)."""

    reason: str
    id: str | None = None
    acted: int | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """What to start; None is filled in: now, an id, the station's default procedure.

    With `stop` it is a late entry, and `reason` says why it comes late.
    """

    station: StationId
    gun: str
    time: int | None = None
    weld: str | None = None
    procedure: str | None = None
    job: str | None = None
    seam: str | None = None
    welder: str | None = None
    details: Mapping[str, Any] = field(default_factory=dict)
    stop: int | None = None
    reason: str = ""


def start(services: Services, order: Order, actor: Actor, via: str) -> tuple[Weld, bool]:
    """Start a record; give it, and whether it is new. Problem 404, 409 or 422."""
    time = _checked_time(services, order.time)
    _check_details(order.details)
    procedure, revision = _procedure(services, order, time)
    late = order.stop is not None
    if not late:
        _check_order(services, order, time)
    event = WeldEvent(
        WeldEventKind.LATE if late else WeldEventKind.START,
        order.weld or _new_id(time),
        order.station,
        order.gun,
        time,
        actor.name,
        via,
        procedure,
        revision,
        order.job,
        order.seam,
        order.welder,
        details_from_json(order.details),
        _checked_stop(services, order, time),
    )
    welds = services.records.welds
    if late:
        is_new = welds.add_late(event, actor, services.clock(), order.reason)
    else:
        is_new = welds.add(event, actor)
    found = the_weld(services, event.weld)
    if (found.station, found.gun) != (order.station, order.gun):
        place = f"{found.station} gun {found.gun}"
        raise Problem(
            409, "weld", f"weld {event.weld} is already a record of {place}: give another id"
        )
    return found, is_new


def stop(services: Services, weld: str, time: int | None, actor: Actor, via: str) -> Weld:
    """Stop a record; one that has ended stays as it is. Problem 404 or 422."""
    found = the_weld(services, weld)
    if found.stop is not None:
        return found
    at = _checked_time(services, time)
    if time is None or found.start - SLACK <= at:
        at = max(at, found.start)
    if at < found.start:
        raise Problem(
            422, "time", f"time: the record began at {format_rfc3339(found.start)}, after that"
        )
    event = WeldEvent(WeldEventKind.STOP, weld, found.station, found.gun, at, actor.name, via)
    services.records.welds.add(event, actor)
    return the_weld(services, weld)


def amend(
    services: Services, weld: str, wanted: Mapping[str, Any], entry: Entry, actor: Actor
) -> tuple[Amendment | None, Weld]:
    """Amend a record; None where nothing is new. Problem 403, 404, 409 or 422."""
    found = the_weld(services, weld)
    acted = None if entry.acted is None else _checked_time(services, entry.acted, "acted")
    if found.welder and "welder" in wanted and actor.role not in SEEING_WELDERS:
        raise Problem(403, "role", "who welded is named already; to correct it needs quality")
    try:
        changes = _with_revision(services, found, wanted)
        return services.records.welds.amend(
            weld, changes, entry.reason, actor, services.clock(), "http",
            entry=entry.id, acted=acted,
        )  # fmt: skip
    except TakenError as error:
        raise Problem(409, "entry", str(error)) from None
    except NotKeptError as error:
        errors = [{"at": p.field, "detail": p.text} for p in error.problems]
        raise Problem(422, "validation", str(error), errors=errors) from None


def sign(services: Services, weld: str, as_role: str, actor: Actor) -> Signature:
    """Sign a record off. Problem 403, 404 or 409."""
    the_weld(services, weld)
    if as_role == AS_SUPERVISOR and actor.role not in SUPERVISING:
        raise Problem(403, "role", "to sign as the supervisor needs the quality role")
    try:
        return services.records.welds.sign(weld, as_role, actor, services.clock(), "http")
    except TakenError as error:
        raise Problem(409, "signature", str(error)) from None


def the_weld(services: Services, weld: str) -> Weld:
    """Find a record; Problem 404."""
    found = services.records.welds.get(weld)
    if found is None:
        raise Problem(404, "weld", f"there is no weld record {weld}")
    return found


def _check_order(services: Services, order: Order, time: int) -> None:
    """Refuse a start that comes in after a later one on the same gun; it would end that one."""
    if order.time is None or time > services.clock() - SLACK:
        return
    search = WeldSearch(station=order.station, gun=order.gun)
    newest = services.records.welds.page(search, 1).items
    if not newest or newest[0].start <= time + SLACK:
        return
    if order.weld is not None and services.records.welds.get(order.weld) is not None:
        return
    since = format_rfc3339(newest[0].start)
    text = f"a later record was started on gun {order.gun} at {since}"
    raise Problem(409, "later-record", f"{text}: enter this weld with its stop, as a late entry")


def _checked_time(services: Services, time: int | None, at: str = "time") -> int:
    now = services.clock()
    if time is None:
        return now
    if not OLDEST_ABSOLUTE <= time <= now + FURTHEST_AHEAD:
        raise _wrong(at, "it must lie between 2020 and five minutes from now")
    return time


def _checked_stop(services: Services, order: Order, start_us: int) -> int | None:
    if order.stop is None:
        return None
    if order.time is None:
        raise _wrong("time", "a weld that is entered afterwards needs its start")
    if not start_us <= order.stop <= services.clock():
        raise _wrong("stop", "it must lie after the start and not ahead of now")
    if not order.reason:
        raise _wrong("reason", "say why this weld is entered afterwards")
    return order.stop


def _check_details(details: Mapping[str, Any]) -> None:
    found = detail_problems(details)
    if found:
        errors = [{"at": at, "detail": text} for at, text in found]
        text = "; ".join(f"{at}: {remedy}" for at, remedy in found)
        raise Problem(422, "validation", text, errors=errors)


def _with_revision(services: Services, weld: Weld, wanted: Mapping[str, Any]) -> dict[str, Any]:
    """Give a named procedure the revision that held when the weld was laid, if none is said."""
    changes = dict(wanted)
    name = changes.get("procedure", weld.procedure)
    if not {"procedure", "procedure_revision"} & set(changes):
        return changes
    if name is None:
        return {**changes, "procedure_revision": None}
    said = changes.get("procedure_revision")
    procedures = services.records.procedures
    found = procedures.as_of(name, weld.start) if said is None else procedures.get(name, said)
    if found is None:
        which = name if said is None else f"{name} revision {said}"
        raise _wrong("procedure", f"there is no procedure {which}: see the list of procedures")
    return {**changes, "procedure_revision": found.procedure.revision}


def _procedure(services: Services, order: Order, start_us: int) -> tuple[str | None, int | None]:
    station = services.plant().station(order.station)
    if station is None:
        raise Problem(422, "station", f"station {order.station} is not in the plant file")
    if order.gun not in station.guns:
        known = ", ".join(station.guns) or "none"
        raise Problem(422, "gun", f"gun {order.gun} is not one of {order.station}: it has {known}")
    wanted = order.procedure or station.procedure
    if wanted is None:
        return None, None
    procedures = services.records.procedures
    told = order.time is not None
    found = procedures.as_of(wanted, start_us) if told else procedures.get(wanted)
    if found is not None:
        return wanted, found.procedure.revision
    if order.procedure is None:
        return wanted, None
    raise Problem(422, "procedure", f"there is no procedure {wanted}: see the list of procedures")


def _wrong(at: str, text: str) -> Problem:
    return Problem(422, at, f"{at}: {text}", errors=[{"at": at, "detail": text}])


def _new_id(time: int) -> str:
    digits = "".join(c for c in format_rfc3339(time)[:19] if c.isdigit())
    return f"w-{digits[:8]}-{digits[8:]}-{secrets.token_hex(4)}"
