"""When a shop works: days and hours of its own zone. All times are µs since 1970 in UTC."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from steadybead_domain.times import EPOCH

DAY_MINUTES = 1440
_FURTHEST_DAYS = 3660
_MICROSECOND = dt.timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class WorkCalendar:
    """`days` count from Monday = 0; `hours` are (start, end) in minutes of the local day.

    A stretch whose end is not after its start runs into the next day. On `holidays` nothing
    begins. The default (Monday to Friday, 7 to 16 h) is a project assumption.
    """

    zone: str = "UTC"
    days: tuple[int, ...] = (0, 1, 2, 3, 4)
    hours: tuple[tuple[int, int], ...] = ((420, 960),)
    holidays: frozenset[dt.date] = frozenset()

    def is_open(self, time: int) -> bool:
        """Tell whether the shop works at a time."""
        return any(start <= time < end for start, end in self._around(time))

    def opens(self, time: int) -> int:
        """Give the first moment from `time` on at which the shop works; `time` if it does."""
        for start, end in self._stretches(time):
            if end > time:
                return max(start, time)
        raise ValueError("this calendar has no working hours within ten years")

    def closes(self, time: int) -> int:
        """Give the first moment from `time` on at which the shop does not work."""
        for start, end in self._stretches(time):
            if start > time:
                return time
            time = max(time, end)
        return time

    def after(self, time: int, working: int) -> int:
        """Give the moment at which so much working time (µs) has passed since `time`."""
        left = working
        for start, end in self._stretches(time):
            begin = max(start, time)
            if end - begin >= left and end > begin:
                return begin + left
            left -= max(end - begin, 0)
        raise ValueError("so much working time does not fit into ten years of this calendar")

    def working(self, start: int, end: int) -> int:
        """Give the working time in [start, end), µs."""
        total = 0
        for begin, stop in self._stretches(start):
            if begin >= end:
                break
            total += max(min(stop, end) - max(begin, start), 0)
        return total

    def _around(self, time: int) -> Iterator[tuple[int, int]]:
        today = self._date(time)
        for day in (today - dt.timedelta(days=1), today):
            yield from self._of(day)

    def _stretches(self, time: int) -> Iterator[tuple[int, int]]:
        """Walk the working stretches in order, from the day before `time` on, without overlap."""
        first = self._date(time) - dt.timedelta(days=1)
        reached = 0
        for i in range(_FURTHEST_DAYS):
            for start, end in self._of(first + dt.timedelta(days=i)):
                if end > reached:
                    yield max(start, reached), end
                    reached = end

    def _of(self, day: dt.date) -> Iterator[tuple[int, int]]:
        if day.weekday() not in self.days or day in self.holidays:
            return
        for start, end in sorted(self.hours):
            until = end if end > start else end + DAY_MINUTES
            yield self._moment(day, start), self._moment(day, until)

    def _moment(self, day: dt.date, minutes: int) -> int:
        there = dt.datetime.combine(day, dt.time()) + dt.timedelta(minutes=minutes)
        return (there.replace(tzinfo=ZoneInfo(self.zone)) - EPOCH) // _MICROSECOND

    def _date(self, time: int) -> dt.date:
        return (EPOCH + time * _MICROSECOND).astimezone(ZoneInfo(self.zone)).date()
