"""Starting and stopping a weld record on somebody's behalf."""

import secrets
from dataclasses import dataclass

from steadybead_api.problems import Problem
from steadybead_api.services import Services
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor
from steadybead_domain.times import FURTHEST_AHEAD, OLDEST_ABSOLUTE, format_rfc3339
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind


@dataclass(frozen=True, slots=True)
class Order:
    """What to start; None is filled in: now, an id, the station's default procedure."""

    station: StationId
    gun: str
    time: int | None = None
    weld: str | None = None
    procedure: str | None = None
    job: str | None = None
    seam: str | None = None
    welder: str | None = None


def start(services: Services, order: Order, actor: Actor, via: str) -> tuple[Weld, bool]:
    """Start a record; give it, and whether it is new. Problem 404, 409 or 422."""
    time = _checked_time(services, order.time)
    procedure, revision = _procedure(services, order)
    weld = order.weld or _new_id(time)
    event = WeldEvent(
        WeldEventKind.START,
        weld,
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
    )
    is_new = services.records.welds.add(event, actor)
    found = the_weld(services, weld)
    if (found.station, found.gun) != (order.station, order.gun):
        place = f"{found.station} gun {found.gun}"
        raise Problem(409, "weld", f"weld {weld} is already a record of {place}: give another id")
    return found, is_new


def stop(services: Services, weld: str, time: int | None, actor: Actor, via: str) -> Weld:
    """Stop a record; one that has ended stays as it is. Problem 404 or 422."""
    found = the_weld(services, weld)
    if found.stop is not None:
        return found
    at = _checked_time(services, time)
    if time is None:
        at = max(at, found.start)
    if at < found.start:
        raise Problem(
            422, "time", f"time: the record began at {format_rfc3339(found.start)}, after that"
        )
    event = WeldEvent(WeldEventKind.STOP, weld, found.station, found.gun, at, actor.name, via)
    services.records.welds.add(event, actor)
    return the_weld(services, weld)


def the_weld(services: Services, weld: str) -> Weld:
    """Find a record; Problem 404."""
    found = services.records.welds.get(weld)
    if found is None:
        raise Problem(404, "weld", f"there is no weld record {weld}")
    return found


def _checked_time(services: Services, time: int | None) -> int:
    now = services.clock()
    if time is None:
        return now
    if not OLDEST_ABSOLUTE <= time <= now + FURTHEST_AHEAD:
        raise Problem(422, "time", "time: it must lie between 2020 and five minutes from now")
    return time


def _procedure(services: Services, order: Order) -> tuple[str | None, int | None]:
    station = services.plant().station(order.station)
    if station is None:
        raise Problem(422, "station", f"station {order.station} is not in the plant file")
    if order.gun not in station.guns:
        known = ", ".join(station.guns) or "none"
        raise Problem(422, "gun", f"gun {order.gun} is not one of {order.station}: it has {known}")
    wanted = order.procedure or station.procedure
    if wanted is None:
        return None, None
    found = services.records.procedures.get(wanted)
    if found is not None:
        return wanted, found.procedure.revision
    if order.procedure is None:
        return wanted, None
    raise Problem(422, "procedure", f"there is no procedure {wanted}: see the list of procedures")


def _new_id(time: int) -> str:
    digits = "".join(c for c in format_rfc3339(time)[:19] if c.isdigit())
    return f"w-{digits[:8]}-{digits[8:]}-{secrets.token_hex(4)}"
