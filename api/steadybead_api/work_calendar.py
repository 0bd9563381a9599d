"""The work list as an iCalendar feed (RFC 5545): an all-day event on the day each piece is due."""

import datetime as dt
from collections.abc import Iterable, Mapping
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from steadybead_domain.ids import StationId
from steadybead_domain.times import EPOCH
from steadybead_domain.work_list import WorkItem

PRODUCT = "-//Steadybead//Work list//EN"
AGAIN = dt.timedelta(hours=1)


def feed(
    items: Iterable[WorkItem], names: Mapping[StationId, str], site: str, zone: str, now: int
) -> bytes:
    """Write the feed. What is overdue stands on today: no calendar shows what lies behind."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", f"{site}: work list")
    calendar.add("x-wr-calname", f"{site}: work list")
    calendar.add("refresh-interval", AGAIN)
    for item in items:
        calendar.add_component(_event(item, names, zone, now))
    return bytes(calendar.to_ical())


def _event(item: WorkItem, names: Mapping[StationId, str], zone: str, now: int) -> Event:
    place = names.get(item.station) or item.station.station
    event = Event()
    event.add("uid", f"{item.id}@steadybead")
    event.add("dtstamp", _moment(now))
    event.add("summary", f"{place}: {item.what}")
    event.add("description", _described(item, zone, now))
    event.add("location", place)
    event.add("categories", [item.kind.value])
    event.add("dtstart", _date(max(item.due, now), zone))
    event.add("transp", "TRANSPARENT")
    return event


def _described(item: WorkItem, zone: str, now: int) -> str:
    rows = [item.to_do]
    if item.earliest is not None and item.latest is not None:
        first, last = _date(item.earliest, zone), _date(item.latest, zone)
        rows.append(f"4 times in 5 between {first} and {last}")
    if item.is_overdue(now):
        rows.append(f"due since {_date(item.due, zone)}")
    return "\n".join(rows)


def _moment(time: int) -> dt.datetime:
    return EPOCH + dt.timedelta(microseconds=time - time % 1_000_000)


def _date(time: int, zone: str) -> dt.date:
    return _moment(time).astimezone(ZoneInfo(zone)).date()
