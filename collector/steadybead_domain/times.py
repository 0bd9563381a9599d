"""Time inside is an integer number of microseconds since 1970-01-01T00:00:00Z."""

import datetime as dt
import re
from functools import lru_cache

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR
EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
OLDEST_ABSOLUTE = 1_577_836_800 * SECOND  # 2020-01-01T00:00:00Z, the contract's limit
FURTHEST_AHEAD = 5 * MINUTE
_FIRST = dt.datetime.min.replace(tzinfo=dt.UTC)
_LAST = dt.datetime.max.replace(tzinfo=dt.UTC)
_KEPT = 256  # the channels of a station mostly share their times
_RFC3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}:\d{2})(?:\.(\d{1,12}))?([Zz]|[+-]\d{2}:\d{2})"
)


class BadTimeError(ValueError):
    """A text that is no RFC 3339 date-time."""


@lru_cache(maxsize=_KEPT)
def parse_rfc3339(text: str) -> int:
    """Read an RFC 3339 date-time as microseconds; digits past the sixth are cut. BadTimeError."""
    match = _RFC3339.fullmatch(text)
    if match is None:
        raise BadTimeError(f"time {text[:60]!r}: write it as 2026-05-04T07:30:00Z (RFC 3339)")
    day, clock, fraction, zone = match.groups()
    zone = "+00:00" if zone in "Zz" else zone
    try:
        moment = dt.datetime.fromisoformat(f"{day}T{clock}{zone}")
        whole = (moment - EPOCH) // dt.timedelta(seconds=1)
    except (ValueError, OverflowError) as error:
        raise BadTimeError(f"time {text[:60]!r}: no such date ({error})") from None
    if not _FIRST <= moment <= _LAST:
        raise BadTimeError(f"time {text[:60]!r}: it lies outside the years 1 to 9999 in UTC")
    return whole * SECOND + int((fraction or "0").ljust(6, "0")[:6])


@lru_cache(maxsize=_KEPT)
def format_rfc3339(time_us: int) -> str:
    """Write microseconds as RFC 3339 in UTC, always with six decimals."""
    moment = EPOCH + dt.timedelta(microseconds=time_us)
    return f"{moment.isoformat(timespec='microseconds')[:26]}Z"
