"""Which notices are to go out now: one pure decision from alarms, what was told, and the time."""

import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from steadybead_domain.alarms.model import Alarm, AlarmState, Priority
from steadybead_domain.alarms.notice_text import body_of, subject_of
from steadybead_domain.alarms.receivers import RANK, Receiver
from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.ids import StationId
from steadybead_domain.times import SECOND

SOON = 5 * SECOND  # how long an alarm of high priority waits for others
_STANDING = (AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED)


@dataclass(frozen=True, slots=True)
class Told:
    """An alarm as it was told: which raise of it, and how often before."""

    alarm: str
    raised: int
    fingerprint: str
    before: int = 0


@dataclass(frozen=True, slots=True)
class Notice:
    """One message to one receiver; its `id` is made of what it tells."""

    id: str
    receiver: str
    time: int
    subject: str
    body: str
    told: tuple[Told, ...]


@dataclass(frozen=True, slots=True)
class _Due:
    alarm: Alarm
    told: Told
    at: int


class Router:
    """Remembers what was told, so that nothing is told twice and nothing is forgotten.

    `names` are the stations as people call them. A receiver for which a notice still waits is
    `busy`: what comes up meanwhile goes along with the next one, so that a dead receiver never
    has more than one waiting.
    """

    def __init__(
        self,
        receivers: Sequence[Receiver],
        calendar: WorkCalendar,
        site: str,
        names: Mapping[StationId, str],
    ) -> None:
        self.receivers = tuple(receivers)
        self._calendar, self._site, self._names = calendar, site, dict(names)
        self._alarms: dict[tuple[str, str], tuple[Told, int]] = {}
        self._conditions: dict[tuple[str, str], int] = {}

    def remember(self, notice: Notice) -> None:
        """Take up what was told, in the order of its time."""
        for told in notice.told:
            self._alarms[notice.receiver, told.alarm] = (told, notice.time)
            self._conditions[notice.receiver, told.fingerprint] = notice.time

    def owns(self, notice: Notice) -> bool:
        """Tell whether a notice is of these stations; another collector delivers the others."""
        own = tuple(f"{station}/" for station in self._names)
        return all(told.fingerprint.startswith(own) for told in notice.told)

    def forget(self, before: int) -> None:
        """Drop what was told before a time."""
        self._alarms = {k: v for k, v in self._alarms.items() if v[1] >= before}
        self._conditions = {k: v for k, v in self._conditions.items() if v >= before}

    def decide(self, now: int, alarms: Iterable[Alarm], busy: Collection[str] = ()) -> list[Notice]:
        """Give the notices that are due at `now` and remember them."""
        standing = list(alarms)
        notices = []
        for receiver in self.receivers:
            if receiver.name in busy or receiver.hour_from(now, self._calendar) > now:
                continue
            due = [d for a in standing if (d := self._due(receiver, a, now)) is not None]
            if due and now >= min(_departure(d, receiver) for d in due):
                notices.append(self._notice(receiver, due, now))
        for notice in notices:
            self.remember(notice)
        return notices

    def _due(self, receiver: Receiver, alarm: Alarm, now: int) -> _Due | None:
        if not receiver.concerns(alarm):
            return None
        told, at = self._next(receiver, alarm, now)
        if told is None:
            return None
        at = receiver.hour_from(at, self._calendar)
        return _Due(alarm, told, at) if at <= now else None

    def _next(self, receiver: Receiver, alarm: Alarm, now: int) -> tuple[Told | None, int]:
        """Give what would be told next of an alarm, and from when on."""
        fact, raised = alarm.raised, alarm.last_raised or alarm.raised.time
        known = self._alarms.get((receiver.name, fact.alarm))
        stands = alarm.state in _STANDING
        if known is not None and known[0].raised >= raised:
            if receiver.repeat is None or not stands:
                return None, 0
            again = Told(fact.alarm, raised, fact.fingerprint, known[0].before + 1)
            return again, min(known[1], now) + receiver.repeat
        high = fact.priority is Priority.HIGH
        passed_by = alarm.state is AlarmState.RETURNED and high and not receiver.after
        if not stands and not passed_by:
            return None, 0
        at = raised + receiver.after
        last = self._conditions.get((receiver.name, fact.fingerprint))
        if last is not None and not high:
            at = max(at, min(last, now) + receiver.pause)
        return Told(fact.alarm, raised, fact.fingerprint), at

    def _notice(self, receiver: Receiver, due: Sequence[_Due], now: int) -> Notice:
        ordered = sorted(due, key=lambda d: (RANK[d.alarm.raised.priority], d.told.raised))
        told = tuple(d.told for d in ordered)
        lines = [(d.alarm, self._name(d.alarm), d.told.before) for d in ordered]
        return Notice(
            notice_id(receiver.name, told),
            receiver.name,
            now,
            subject_of(lines, self._site),
            body_of(lines, receiver, self._site, self._calendar.zone, now),
            told,
        )

    def _name(self, alarm: Alarm) -> str:
        station = alarm.raised.station
        return self._names.get(station) or station.station


def notice_id(receiver: str, told: Iterable[Told]) -> str:
    """Make the id of a notice from what it tells to whom: 24 hexadecimal digits."""
    parts = "|".join(f"{t.alarm}@{t.raised}#{t.before}" for t in told)
    return hashlib.sha256(f"{receiver}:{parts}".encode()).hexdigest()[:24]


def _departure(due: _Due, receiver: Receiver) -> int:
    high = due.alarm.raised.priority is Priority.HIGH
    return due.at + (min(SOON, receiver.group) if high else receiver.group)
