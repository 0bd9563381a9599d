"""Alarms that need a person now, in the order in which to take them."""

from collections.abc import Iterable
from dataclasses import dataclass

from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment, span_text
from steadybead_dashboards.words import ALARM_STATES, PRIORITIES
from steadybead_domain.alarms.catalogue import CATALOGUE
from steadybead_domain.alarms.model import Alarm, AlarmState, Priority
from steadybead_domain.plant import Plant
from steadybead_domain.times import format_rfc3339

NEEDS_A_PERSON = frozenset(
    {
        AlarmState.UNACKNOWLEDGED,
        AlarmState.ACKNOWLEDGED,
        AlarmState.RETURNED,
        AlarmState.LATCHED_UNACKNOWLEDGED,
        AlarmState.LATCHED_ACKNOWLEDGED,
    }
)
TO_ACKNOWLEDGE = frozenset(
    {AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED, AlarmState.LATCHED_UNACKNOWLEDGED}
)
MAY_ACKNOWLEDGE = TO_ACKNOWLEDGE | {AlarmState.LATCHED_ACKNOWLEDGED}
UPKEEP = frozenset(kind for kind, entry in CATALOGUE.items() if not entry.unfit)
"""Kinds that do not speak against welding: their alarm leaves a gun that warms up uncoloured."""
LATCHED = frozenset({AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED})
_ORDER = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


@dataclass(frozen=True, slots=True)
class AlarmCard:
    """One alarm: what, where, since when, what to do and who it is for."""

    id: str
    kind: str
    priority: Priority
    priority_word: str
    what: str
    station: str
    place: str
    raised: Moment
    for_text: str
    cause: str
    to_do: str
    for_whom: str
    state: AlarmState
    state_word: str
    active: bool
    may_acknowledge: bool
    acknowledged_by: str
    raised_iso: str

    @property
    def presses(self) -> bool:
        """Tell whether it still colours its station: against welding, and standing or latched."""
        return self.kind not in UPKEEP and (self.active or self.state in LATCHED)


def alarm_cards(alarms: Iterable[Alarm], plant: Plant, shell: Shell) -> tuple[AlarmCard, ...]:
    """Show what needs a person, in this order.

    Not yet acknowledged first, then by priority, what is over behind what stands, the newest first.
    """
    shown = [a for a in sorted(alarms, key=_urgency) if a.state in NEEDS_A_PERSON]
    return tuple(alarm_card(a, plant, shell) for a in shown)


def _urgency(alarm: Alarm) -> tuple[bool, int, bool, int]:
    fact, over = alarm.raised, alarm.state is AlarmState.RETURNED
    return alarm.state not in TO_ACKNOWLEDGE, _ORDER[fact.priority], over, -fact.time


def alarm_card(alarm: Alarm, plant: Plant, shell: Shell) -> AlarmCard:
    """Show one alarm, whatever its state."""
    fact = alarm.raised
    station = plant.station(fact.station)
    place = (station.name if station else "") or fact.station.station
    return AlarmCard(
        fact.alarm,
        fact.kind,
        fact.priority,
        PRIORITIES[fact.priority],
        fact.what,
        str(fact.station),
        place,
        shell.moment(fact.time),
        span_text(shell.now - fact.time),
        fact.cause,
        fact.to_do,
        fact.for_whom,
        alarm.state,
        ALARM_STATES[alarm.state],
        alarm.active,
        alarm.state in MAY_ACKNOWLEDGE,
        alarm.acknowledged_by,
        format_rfc3339(alarm.last_raised or fact.time),
    )
