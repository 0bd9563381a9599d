"""Everything between a message and what is said of it, without threads and without a clock."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from steadybead_collector.ingest.commit import Committed, Ingest, Persist, at_once
from steadybead_collector.ingest.receipts import Receipts
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.watch.diagnoses import Diagnoses
from steadybead_collector.watch.publisher import Publisher
from steadybead_domain.automatic_records import automatic_events
from steadybead_domain.plant import Plant
from steadybead_domain.ports import Change, FactsStore, ReadingsStore
from steadybead_domain.procedures import Procedure
from steadybead_domain.times import SECOND
from steadybead_domain.welds import WeldEvent

if TYPE_CHECKING:
    from steadybead_domain.alarms.model import Alarm, AlarmFact
    from steadybead_domain.diagnosis.finding import Finding
    from steadybead_domain.ids import StationId
    from steadybead_domain.live import LiveStation

POLL_EVERY = SECOND // 20  # well within the time that an event has to be known, see SETTLING
JUDGE_EVERY = SECOND // 50

Hear = Callable[["StationId", Sequence["Alarm"]], None]


def unheard(_station: "StationId", _alarms: "Sequence[Alarm]") -> None:
    """Tell nobody of alarms."""


class Pipeline:
    """Feed it messages and let it know what time it is; it stores, judges and publishes.

    `publish` takes a topic and a retained payload and tells whether it could be sent. All times
    are µs. `hear` is told each station's alarms, but not while a backlog is drained: what is long
    over is nobody's news. `slice_s`: for how long a turn judges at most before it lets in what
    has come; then values are told ahead of judging, and slow checks wait for a quiet turn. None:
    all at once. `has_more`: a turn ended before all stations were judged. Driven by one thread; in
    tests on virtual time by the test itself.
    """

    def __init__(
        self,
        plant: Plant,
        root: str,
        readings: ReadingsStore,
        facts: FactsStore,
        publish: Callable[[str, bytes], bool],
        receipts: Receipts | None = None,
        persist: Persist = at_once,
        hear: Hear = unheard,
        slice_s: float | None = None,
    ) -> None:
        self._facts, self._persist, self._hear = facts, persist, hear
        self._slice_s = slice_s
        self.has_more = False
        self.receipts = receipts or Receipts()
        self.ingest = Ingest(plant, root, readings, facts, self.receipts, persist)
        self.diagnoses = Diagnoses(plant, readings, facts)
        self.publisher = Publisher(root, publish)
        self._automatic = {s.id for s in plant.stations if s.automatic_records}
        self._unwritten: list[AlarmFact] = []
        self._untold: list[Finding] = []
        self._polled_at = 0
        self._judged_at = 0
        self._judged_draining = False

    def open(self) -> None:
        """Take up where an earlier run left off. StoreError."""
        self.ingest.prime()
        self._follow(self.diagnoses.open())

    def feed(self, messages: Sequence[Message]) -> Committed:
        """Commit messages, in order of arrival, and pass on what was accepted. StoreError.

        When this returns the messages may be acknowledged.
        """
        if any(m.topic.endswith("/weld") for m in messages):
            self._follow(self._persist(self.diagnoses.poll))  # a page may have started the record
        committed = self.ingest.commit(messages)
        live = not any(m.backlog for m in messages)
        for appended in committed.accepted:
            self.diagnoses.push(appended.position, appended.accepted, live=live)
        for online in committed.onlines:
            self.diagnoses.say_online(online)
        if committed.welds:
            self._follow(self._persist(self.diagnoses.poll))
        return committed

    def refuse(self, message: Message, fault: str) -> None:
        """Send a message to quarantine that shows a fault of ours. StoreError."""
        self.ingest.refuse(message, fault)

    def tick(
        self,
        now: int,
        *,
        heard_until: int | None = None,
        draining: bool = False,
        settling: bool = False,
    ) -> None:
        """Judge, commit facts and findings, then publish; ask for human acts; save. StoreError.

        `heard_until`: all that was received before has been fed (default: `now`). `settling`: what
        the broker sends again may still come after what is newer, so nothing more is judged yet.
        """
        if now - self._polled_at >= POLL_EVERY or now < self._polled_at:
            self._polled_at = now
            self._follow(self.diagnoses.poll())
        if now - self._judged_at >= JUDGE_EVERY or now < self._judged_at:
            self._judged_at = now
            until = now if heard_until is None else heard_until
            self._judge(now, until, draining=draining, settling=settling)
        if saved := self.diagnoses.to_save(now):
            self._save(saved, now)

    def close(self, now: int, goes_on: Callable[[], bool] = lambda: True) -> None:
        """Save what there is to save, for as long as `goes_on` says. StoreError.

        A state that is left out costs a replay at the next start, nothing else.
        """
        self._write()
        for station in self.diagnoses.by_age():
            if not goes_on():
                return
            self._save([station], now)

    def _judge(self, now: int, heard_until: int, *, draining: bool, settling: bool) -> None:
        values, steps = self.diagnoses.due(heard_until, draining=draining)
        asked = self._advance(values, now, heard_until, draining=draining, settling=settling)
        if self._slice_s is not None:
            for live in self.diagnoses.glimpses(steps, heard_until):
                self.publisher.say_values(now, live)
        asked += self._advance(steps, now, heard_until, draining=draining, settling=settling)
        self.has_more = asked < len(values) + len(steps)
        if not draining:
            self.publisher.clear_leftovers()
        waiting = None if steps else self.diagnoses.most_put_off()
        if waiting is not None:
            self._settle([waiting])

    def _advance(
        self,
        stations: Sequence["StationId"],
        now: int,
        heard_until: int,
        *,
        draining: bool,
        settling: bool,
    ) -> int:
        """Judge stations, commit, and tell; give how many were reached."""
        outcomes = list(
            self.diagnoses.advance(
                stations, heard_until, draining=draining, settling=settling, slice_s=self._slice_s
            )
        )
        for _, outcome in outcomes:
            self._unwritten += outcome.facts
            self._untold += outcome.findings
        self._write()
        for station, outcome in outcomes:
            if station in self._automatic:
                self._record(outcome.live)
        for station, outcome in outcomes:
            if not self.publisher.say(now, outcome.live, outcome.alarms):
                self.diagnoses.look_again(station)
        if not draining:
            for station, outcome in outcomes:
                self._hear(station, outcome.alarms)
        return len(outcomes)

    def _save(self, stations: Sequence["StationId"], now: int) -> None:
        """Save states, what their slow checks find before them."""
        self._settle(stations)
        self.diagnoses.save(stations, now)

    def _settle(self, stations: Sequence["StationId"]) -> None:
        self._untold += self.diagnoses.settle(stations)
        self._write()

    def _record(self, live: "LiveStation") -> None:
        """Keep the weld events that guns tell by themselves; a repeat is a no-op."""
        log = self.ingest.weld_log
        for told in automatic_events(live, log.last_stop):
            event = log.complete(told)
            if event is not None and self._facts.add_weld_event(event):
                log.follow(event)

    def _write(self) -> None:
        if self._unwritten:
            self._facts.add_alarm_facts(self._unwritten)
            self._unwritten = []
        if self._untold:
            self._facts.add_findings(self._untold)
            self._untold = []

    def _follow(self, changes: Sequence[Change]) -> None:
        for change in changes:
            if isinstance(change, WeldEvent):
                self.ingest.weld_log.follow(change)
            elif isinstance(change, Procedure):
                self.ingest.weld_log.follow_procedure(change)
