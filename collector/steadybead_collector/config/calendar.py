"""`[calendar]` of the plant file: when the shop works."""

import datetime as dt
import re

from steadybead_collector.config.reader import Table, nearest, shown
from steadybead_domain.calendar import DAY_MINUTES, WorkCalendar

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_HOURS = re.compile(r"(\d{2}):(\d{2})-(\d{2}):(\d{2})")


def read_calendar(table: Table, zone: str) -> WorkCalendar:
    """Read the table; what is left out is as in the default calendar."""
    table.only(("days", "hours", "holidays"))
    usual = WorkCalendar(zone)
    days = tuple(_day(table, word) for word in table.texts("days"))
    hours = tuple(_hours(table, text) for text in table.texts("hours"))
    holidays = frozenset(_holiday(table, text) for text in table.texts("holidays"))
    return WorkCalendar(zone, days or usual.days, hours or usual.hours, holidays)


def _day(table: Table, word: str) -> int:
    if word in _DAYS:
        return _DAYS.index(word)
    table.fault("days", f"day {shown(word)} is unknown", nearest(word, _DAYS))
    return 0


def _hours(table: Table, text: str) -> tuple[int, int]:
    match = _HOURS.fullmatch(text)
    if match is not None:
        hour, minute, until_hour, until_minute = (int(part) for part in match.groups())
        start, end = 60 * hour + minute, 60 * until_hour + until_minute
        whole = minute < 60 and until_minute < 60
        if whole and start < DAY_MINUTES and end <= DAY_MINUTES and start != end:
            return start, end
    remedy = 'write "07:00-12:00"; "22:00-06:00" runs into the next day'
    table.fault("hours", f"bad hours {shown(text)}", remedy)
    return 0, 1


def _holiday(table: Table, text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        table.fault("holidays", f"bad date {shown(text)}", 'write "2026-12-25"')
        return dt.date.min
