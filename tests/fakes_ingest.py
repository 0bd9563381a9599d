"""Small stand-ins for the stores, with the same promises, and ways to make them fail."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import orjson

from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.outcomes import Outcome
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.standing import finding_id
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Plant
from steadybead_domain.ports import Appended, Change, Receipt, Refused, StoreError
from steadybead_domain.readings import Batch
from steadybead_domain.welds import WeldEvent, WeldEventKind

NOW = 1_780_000_000_000_000  # 2026-05-28, µs


@dataclass
class MemoryFacts:
    """A `FactsStore` in memory. `broken`: how many calls fail from now on."""

    known: dict[tuple[int, str, bytes], Receipt] = field(default_factory=dict)
    refused: dict[tuple[str, bytes, str, int | None], tuple[Refused, int]] = field(
        default_factory=dict
    )
    changes: list[Change] = field(default_factory=list)
    alarm_facts: dict[tuple[str, int, bool], AlarmFact] = field(default_factory=dict)
    findings: dict[tuple[str, int], Finding] = field(default_factory=dict)
    states: dict[StationId, tuple[int, bytes]] = field(default_factory=dict)
    broken: int = 0
    calls: list[str] = field(default_factory=list)

    def _called(self, name: str) -> None:
        self.calls.append(name)
        if self.broken:
            self.broken -= 1
            raise StoreError("the records are out: plug them in")

    def receipts(self, wanted: Sequence[Receipt]) -> list[Receipt]:
        self._called("receipts")
        answer = []
        for want in wanted:
            key = (want.message_id, want.topic, want.payload_sha256)
            if want.fresh:
                self.known[key] = replace(want, fresh=False)
            answer.append(self.known.setdefault(key, want))
        return answer

    def quarantine(self, rows: Sequence[Refused]) -> None:
        self._called("quarantine")
        for row in rows:
            assert len(row.payload) <= 4096
            key = (row.topic, row.payload_sha256, row.outcome, row.record)
            first, count = self.refused.get(key, (row, 0))
            self.refused[key] = (first, count + 1)

    def accept_plant(self, text: str, plant: Plant, now: int) -> Plant:
        self._called("accept_plant")
        assert text
        assert now
        return plant

    def add_weld_event(self, event: WeldEvent) -> bool:
        self._called("add_weld_event")
        own = [c for c in self.changes if isinstance(c, WeldEvent) and c.weld == event.weld]
        start = event.kind is WeldEventKind.START
        same_place = all((c.station, c.gun) == (event.station, event.gun) for c in own)
        news = not own if start else len(own) == 1 and same_place
        if news:
            self.changes.append(event)
        return news

    def add_alarm_facts(self, facts: Sequence[AlarmFact]) -> None:
        self._called("add_alarm_facts")
        for fact in facts:
            self.alarm_facts.setdefault((fact.alarm, fact.time, fact.active), fact)

    def add_findings(self, findings: Sequence[Finding]) -> None:
        self._called("add_findings")
        for found in findings:
            self.findings.setdefault((finding_id(found), found.time), found)

    def changes_since(self, position: int) -> tuple[int, list[Change]]:
        self._called("changes_since")
        return len(self.changes), self.changes[position:]

    def save_states(self, position: int, states: Mapping[StationId, bytes]) -> None:
        self._called("save_states")
        self.states |= {station: (position, state) for station, state in states.items()}

    def load_state(self, station: StationId) -> tuple[int, bytes] | None:
        self._called("load_state")
        return self.states.get(station)

    def outcomes(self) -> list[Outcome]:
        """List the words of all rows, in order of arrival."""
        return [Outcome(row.outcome) for row, _ in self.refused.values()]

    def row(self, outcome: Outcome) -> Refused:
        """Give the only row of a word."""
        rows = [row for row, _ in self.refused.values() if row.outcome == outcome.value]
        assert len(rows) == 1, self.outcomes()
        return rows[0]


@dataclass
class BreakableReadings(MemoryReadings):
    """A readings store that refuses as many appends as `broken` says."""

    broken: int = 0

    def __post_init__(self) -> None:
        super().__init__()

    def append(self, batch: Batch) -> Appended:
        if self.broken:
            self.broken -= 1
            raise StoreError("the disk is full: make room")
        return super().append(batch)


@dataclass
class Sender:
    """Makes messages as a broker delivers them: ascending ids and times of receipt."""

    station: str = "bay-1"
    root: str = "steadybead/v1/north"
    now: int = NOW
    mid: int = 0

    def senml(self, *records: dict[str, object], kind: str = "senml", **marks: Any) -> Message:
        """Make a SenML message."""
        return self.message(kind, orjson.dumps(records), **marks)

    def message(self, kind: str, payload: bytes, **marks: Any) -> Message:
        """Make a message on one of the station's topics."""
        return self.on(f"{self.root}/{self.station}/{kind}", payload, **marks)

    def on(self, topic: str, payload: bytes, **marks: Any) -> Message:
        """Make a message on any topic."""
        self.mid += 1
        self.now += 1000
        message = Message(topic, payload, self.now, self.mid)
        return replace(message, **marks) if marks else message


def again(message: Message, later_us: int, **marks: Any) -> Message:
    """Deliver a message once more, unchanged."""
    moved = replace(message, received=message.received + later_us)
    return replace(moved, **marks) if marks else moved


def ignore(_topic: str, _payload: bytes) -> bool:
    """Publish to nobody."""
    return True


Publish = Callable[[str, bytes], bool]
