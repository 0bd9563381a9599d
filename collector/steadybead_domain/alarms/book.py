"""The open occurrences of one station's alarms: from changes of condition to facts."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from steadybead_domain.alarms.catalogue import CATALOGUE, Entry
from steadybead_domain.alarms.change import Change
from steadybead_domain.alarms.codec import act_from_json, act_to_json, fact_from_json, fact_to_json
from steadybead_domain.alarms.model import Alarm, AlarmAct, AlarmFact, AlarmState
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.times import MINUTE

MERGE = 10 * MINUTE  # project assumption: coming back within it is the same occurrence
_KEEP_FACTS = 6
_KEEP_ACTS = 12


@dataclass(slots=True)
class Occurrence:
    """One occurrence: its facts (the first and the latest few) and the acts on it."""

    facts: list[AlarmFact]
    acts: list[AlarmAct] = field(default_factory=list)

    @property
    def latest(self) -> AlarmFact:
        """Give the newest fact."""
        return self.facts[-1]

    def state(self, now: int) -> Alarm:
        """Derive the alarm."""
        return alarm_state(self.facts, self.acts, now)

    def add(self, fact: AlarmFact) -> None:
        """Add a fact, forgetting middle ones that no state depends on."""
        self.facts.append(fact)
        if len(self.facts) > _KEEP_FACTS:
            self.facts = _shortened(self.facts)

    def known_at(self, time: int) -> AlarmState:
        """Derive the state from the acts up to `time`, as a replay would see it."""
        acts = [a for a in self.acts if a.time <= time]
        return alarm_state(self.facts, acts, time).state

    def act(self, act: AlarmAct) -> None:
        """Add an act once."""
        if act not in self.acts:
            self.acts.append(act)
            del self.acts[:-_KEEP_ACTS]


class AlarmBook:
    """Turns changes into facts with ids that the evidence alone decides, and keeps what is open.

    One occurrence per fingerprint is current; a condition that comes back within `MERGE`, or
    while the occurrence is shelved or out of service, goes on with it. A later one takes over.
    """

    def __init__(self, station: StationId, catalogue: Mapping[str, Entry] = CATALOGUE) -> None:
        self.station = station
        self.catalogue = catalogue
        self.current: dict[str, Occurrence] = {}

    def apply(self, change: Change) -> list[AlarmFact]:
        """Give the facts that a change makes; none if it changes nothing."""
        entry = self.catalogue[change.kind]
        place = change.channel or change.gun or ""
        fingerprint = f"{self.station}/{place}:{entry.family or change.kind}"
        known = self.current.get(fingerprint)
        if change.active:
            return self._raised(change, entry, fingerprint, known)
        if known is None or not known.latest.active:
            return []
        fact = replace(known.latest, time=change.time, active=False, suppressed=False)
        known.add(fact)
        return [fact]

    def _raised(
        self, change: Change, entry: Entry, fingerprint: str, known: Occurrence | None
    ) -> list[AlarmFact]:
        facts: list[AlarmFact] = []
        if known is not None and self._goes_on(known, change.time):
            alarm = known.latest.alarm
        else:
            alarm = occurrence_id(fingerprint, change.time)
            if known is not None and known.known_at(change.time) is not AlarmState.NORMAL:
                facts.append(
                    replace(known.latest, time=change.time, active=False, merged_into=alarm)
                )
            known = None
        fact = self._fact(change, entry, alarm, fingerprint)
        if known is None:
            self.current[fingerprint] = Occurrence([fact])
        elif _same(fact, known.latest):
            return []
        else:
            known.add(fact)
        return [*facts, fact]

    @staticmethod
    def _goes_on(known: Occurrence, time: int) -> bool:
        if known.latest.active or time - known.latest.time < MERGE:
            return True
        return known.known_at(time) in (AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE)

    def _fact(self, change: Change, entry: Entry, alarm: str, fingerprint: str) -> AlarmFact:
        return AlarmFact(
            alarm=alarm,
            fingerprint=fingerprint,
            kind=change.kind,
            station=self.station,
            gun=change.gun,
            channel=None
            if change.channel is None
            else ChannelId(self.station.site, self.station.station, change.channel),
            time=change.time,
            active=True,
            priority=entry.priority,
            latching=entry.latching,
            what=worded(entry.what, change),
            value=change.value,
            limit=change.limit,
            unit=change.unit,
            cause=entry.cause,
            to_do=entry.to_do,
            for_whom=entry.for_whom,
            suppressed=change.suppressed,
        )

    def note(self, act: AlarmAct) -> None:
        """Take an act; one on an occurrence that is not current changes nothing here."""
        for occurrence in self.current.values():
            if occurrence.latest.alarm == act.alarm:
                occurrence.act(act)

    def open(self, now: int) -> tuple[Alarm, ...]:
        """Give all alarms that are not normal, the newest raise first; forget what is over."""
        alarms = {key: o.state(now) for key, o in self.current.items()}
        for key, alarm in alarms.items():
            old = now - self.current[key].latest.time >= MERGE
            if alarm.state is AlarmState.NORMAL and old:
                del self.current[key]
        shown = [a for a in alarms.values() if a.state is not AlarmState.NORMAL]
        return tuple(sorted(shown, key=lambda a: (-a.raised.time, a.raised.alarm)))

    def standing(self) -> list[AlarmFact]:
        """Give the latest fact of each active condition, whatever people did to its alarm."""
        return [o.latest for o in self.current.values() if o.latest.active]

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            key: {
                "facts": [fact_to_json(f) for f in o.facts],
                "acts": [act_to_json(a) for a in o.acts],
            }
            for key, o in self.current.items()
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.current = {
            key: Occurrence(
                [fact_from_json(f) for f in o["facts"]], [act_from_json(a) for a in o["acts"]]
            )
            for key, o in data.items()
        }


def occurrence_id(fingerprint: str, onset: int) -> str:
    """Make the id of an occurrence from its evidence: 20 hexadecimal digits."""
    return hashlib.sha256(f"{fingerprint}@{onset}".encode()).hexdigest()[:20]


def worded(template: str, change: Change) -> str:
    """Fill in a catalogue text."""
    return template.format(
        gun=change.gun or "",
        channel=change.channel or "",
        value=_shown(change.value),
        limit=_shown(change.limit),
        unit="°C" if change.unit == "Cel" else change.unit,
    )


def _shortened(facts: list[AlarmFact]) -> list[AlarmFact]:
    """Keep the first fact, the last return, and what changed the priority or came last since."""
    returns = [i for i, f in enumerate(facts[:-1]) if not f.active]
    start = returns[-1] if returns else 0
    keep = {0, start, start + 1, len(facts) - 1}
    keep |= {i for i in range(start + 1, len(facts)) if facts[i].priority != facts[i - 1].priority}
    return [facts[i] for i in sorted(keep)]


def _shown(value: float | None) -> str:
    if value is None:
        return "value not known"
    digits = 0 if abs(value) >= 100 else 1
    return f"{round(value, digits) + 0.0:g}"


def _same(fact: AlarmFact, latest: AlarmFact) -> bool:
    return latest.active and fact.kind == latest.kind and fact.suppressed == latest.suppressed
