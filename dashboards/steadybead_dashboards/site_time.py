"""Times as a shop reads them: the site's zone on the page, UTC beside it."""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from steadybead_domain.times import EPOCH, SECOND, format_rfc3339


@dataclass(frozen=True, slots=True)
class Moment:
    """One time: `text` and `day` in the site's zone, `utc` for the hover, `iso` for machines.

    `date` is the day as YYYY-MM-DD, to compare and to send.
    """

    text: str
    day: str
    utc: str
    iso: str
    date: str = ""


DAYS = {"en": "%Y-%m-%d", "de": "%d.%m.%Y"}


def moment(time_us: int, zone: ZoneInfo, language: str = "en") -> Moment:
    """Show a time given in µs; the day in the order that the language is used to."""
    there = (EPOCH + dt.timedelta(microseconds=time_us)).astimezone(zone)
    utc = there.astimezone(dt.UTC)
    return Moment(
        there.strftime("%H:%M:%S"),
        there.strftime(DAYS[language]),
        utc.strftime("%Y-%m-%d %H:%M:%S UTC"),
        format_rfc3339(time_us),
        there.strftime("%Y-%m-%d"),
    )


def day_start(time_us: int, zone: ZoneInfo) -> int:
    """Tell in µs when the day of a time began at the site."""
    there = (EPOCH + dt.timedelta(microseconds=time_us)).astimezone(zone)
    began = there.replace(hour=0, minute=0, second=0, microsecond=0, fold=0)
    return (began.astimezone(dt.UTC) - EPOCH) // dt.timedelta(microseconds=1)


def span_text(length_us: int) -> str:
    """Write a length of time in at most two units: `42 s`, `3 min 05 s`, `2 h 10 min`."""
    seconds = max(0, length_us // SECOND)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min {seconds % 60:02} s"
    if seconds < 86400:
        return f"{seconds // 3600} h {seconds % 3600 // 60:02} min"
    return f"{seconds // 86400} d {seconds % 86400 // 3600} h"
