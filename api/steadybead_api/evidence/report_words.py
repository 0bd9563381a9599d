"""What the parts of a report share: the sheet, what it is about, and words for times and values."""

import datetime as dt
from typing import Any, Final
from zoneinfo import ZoneInfo

from steadybead_api.evidence.bundle import Bundle
from steadybead_api.evidence.sheet import Sheet
from steadybead_api.figures import Figures
from steadybead_domain.times import EPOCH, SECOND
from steadybead_domain.verdict.model import Judgement

MOST_ROWS: Final = 40
UNITS: Final = {"Cel": "°C"}


class Chapter:
    """Writes about one bundle on one sheet; times in the zone of the site."""

    def __init__(
        self, sheet: Sheet, bundle: Bundle, source: Figures, zone: ZoneInfo, site: str
    ) -> None:
        self._sheet, self._bundle, self._source = sheet, bundle, source
        self._zone, self._site = zone, site

    def _there(self, time: int) -> dt.datetime:
        return (EPOCH + dt.timedelta(microseconds=time)).astimezone(self._zone)

    def _moment(self, time: int) -> str:
        return self._there(time // SECOND * SECOND).strftime("%Y-%m-%d %H:%M:%S %Z")

    def _day(self, time: int) -> str:
        return self._there(time).strftime("%Y-%m-%d")


def named(item: Judgement) -> str:
    """Name the quantity."""
    return item.quantity.value.replace("_", " ")


def joined(told: dict[str, Any], *names: str) -> str:
    """Write what was said of several fields."""
    found = [str(told[n]) for n in names if told.get(n)]
    return ", ".join(found)


def span(low: float | None, high: float | None, unit: str) -> str:
    """Write a range."""
    if low is None and high is None:
        return "–"
    left = "…" if low is None else f"{low:.4g}"
    right = "…" if high is None else f"{high:.4g}"
    return f"{left} to {right} {unit}"
