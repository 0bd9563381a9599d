"""Who is told of alarms: by role, place, priority and hours, how often, and after how long."""

from dataclasses import dataclass
from enum import StrEnum

from steadybead_domain.alarms.catalogue import MAINTENANCE, MANAGER, QA, WELDER
from steadybead_domain.alarms.model import Alarm, Priority
from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.times import MINUTE

ROLES = (WELDER, MAINTENANCE, MANAGER, QA)
RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


class Hours(StrEnum):
    """When a receiver may be told; outside of them it waits for the next such hour."""

    ALWAYS = "always"
    WORKING = "working"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Receiver:
    """One place that notices go to. All spans are µs.

    It is told of alarms for its `roles` (for whom the alarm is) from priority `least` up, at
    `stations` (empty: all). `group`: how long the first alarm waits for others to come along.
    `after`: only what nobody has acknowledged for so long, which makes it an escalation.
    `repeat`: again for as long as nobody acknowledges; None: once. `pause`: the same condition
    coming back sooner waits, unless it is of high priority. `pages`: where links lead.
    """

    name: str
    roles: frozenset[str] = frozenset(ROLES)
    least: Priority = Priority.MEDIUM
    stations: frozenset[str] = frozenset()
    hours: Hours = Hours.ALWAYS
    group: int = MINUTE
    after: int = 0
    repeat: int | None = None
    pause: int = 30 * MINUTE
    pages: str = ""

    def concerns(self, alarm: Alarm) -> bool:
        """Tell whether an alarm is this receiver's at all."""
        fact = alarm.raised
        here = not self.stations or fact.station.station in self.stations
        return here and fact.for_whom in self.roles and RANK[fact.priority] <= RANK[self.least]

    def hour_from(self, time: int, calendar: WorkCalendar) -> int:
        """Give the first moment from `time` on at which this receiver may be told."""
        if self.hours is Hours.WORKING:
            return calendar.opens(time)
        if self.hours is Hours.OUTSIDE:
            return calendar.closes(time)
        return time
