"""The figures of the alarms' own quality, from the records."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from steadybead_api.services import Services
from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.alarms.quality import AlarmQuality, alarm_quality
from steadybead_domain.times import DAY, HOUR, MINUTE

LONGEST = 92 * DAY


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures, the facts they rest on, and the newest fact of each condition."""

    quality: AlarmQuality
    operator_hours: float
    facts: Sequence[AlarmFact]
    newest: Mapping[str, AlarmFact]


def figures(services: Services, start: int, end: int) -> Figures:
    """Work out the figures of [start, end), but not of a time before there was a plant file.

    Hours in which nobody works count only where there are no others.
    """
    versions = services.records.plants.versions()
    known = versions[-1].valid_from if versions else start
    start = max(start, min(known, end - MINUTE))
    facts = services.records.alarms.between(start, end)
    working = services.plant().calendar.working(start, end)
    hours = (working or end - start) / HOUR
    quality = alarm_quality(facts, start, end, hours)
    return Figures(quality, hours, facts, {f.fingerprint: f for f in facts if f.active})


def last_day(services: Services) -> Figures:
    """Work out the figures of the last 24 h."""
    now = services.clock()
    return figures(services, now - DAY, now)
