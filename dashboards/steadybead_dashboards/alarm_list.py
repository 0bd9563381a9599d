"""The page of all alarms that are not normal: what needs a person, and what was put away."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.alarm_cards import NEEDS_A_PERSON, AlarmCard, alarm_card, alarm_cards
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_domain.alarms.model import Alarm, AlarmState
from steadybead_domain.plant import Plant

PUT_AWAY = (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE, AlarmState.SUPPRESSED)


@dataclass(frozen=True, slots=True)
class AwayRow:
    """An alarm that nobody is called for now; `until` where it comes back by itself."""

    card: AlarmCard
    until: Moment | None


@dataclass(frozen=True, slots=True)
class AlarmListPage:
    """All alarms that are not normal."""

    template: ClassVar[str] = "alarms.html"
    shell: Shell
    alarms: tuple[AlarmCard, ...]
    away: tuple[AwayRow, ...]
    names: dict[str, str]


def alarm_list_page(plant: Plant, alarms: Iterable[Alarm], shell: Shell) -> AlarmListPage:
    """Build the page."""
    known = list(alarms)
    away = [a for a in known if a.state not in NEEDS_A_PERSON and a.state is not AlarmState.NORMAL]
    return AlarmListPage(
        shell,
        alarm_cards(known, plant, shell),
        tuple(_away(a, plant, shell) for a in sorted(away, key=_order)),
        {str(s.id): s.name or s.id.station for s in plant.stations},
    )


def _order(alarm: Alarm) -> tuple[int, int]:
    return PUT_AWAY.index(alarm.state), -alarm.raised.time


def _away(alarm: Alarm, plant: Plant, shell: Shell) -> AwayRow:
    until = None if alarm.shelved_until is None else shell.moment(alarm.shelved_until)
    return AwayRow(alarm_card(alarm, plant, shell), until)
