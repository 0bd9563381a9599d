"""The diagnoses of all stations: fed with what is durable, saved, and taken up after a restart."""

import logging
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from steadybead_collector.watch.punctuality import Punctuality
from steadybead_collector.watch.saved_state import SavedState
from steadybead_domain.alarms.model import AlarmAct
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.silence import Online
from steadybead_domain.diagnosis.station import Outcome, StationDiagnosis
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.live import LiveStation
from steadybead_domain.plant import Plant, Station
from steadybead_domain.ports import Change, FactsStore, ReadingsStore
from steadybead_domain.procedures import Procedure
from steadybead_domain.readings import Batch, Columns
from steadybead_domain.times import MINUTE, SECOND

LOG = logging.getLogger(__name__)
SAVE_EVERY = 10 * SECOND
SAVE_PAUSE, SAVED_TOGETHER = SECOND // 4, 8  # each save waits for the disk
ACTS_AGAIN_FOR = MINUTE
ACTS_AGAIN_EVERY = SECOND // 4
URGENT_AT_ONCE = 20
LOOK_EVERY = SECOND // 2
WORTH_SETTLING = 8  # steps put off, looked at when there is nothing else to do


@dataclass(slots=True)
class Watched:
    """One station's diagnosis and what belongs to it.

    `news`: something came since it was last asked; `glimpsed`: its values were told since;
    `due`: when it is asked though nothing came; `resumed`: an earlier run has judged it.
    """

    diagnosis: StationDiagnosis
    punctuality: Punctuality = field(default_factory=Punctuality)
    seen: int = 0
    saved: int = 0
    saved_at: int = 0
    newest: int = 0
    urgent: bool = False
    resumed: bool = False
    news: bool = True
    glimpsed: bool = False
    asked: int = 0
    due: int = 0
    outcome: Outcome | None = None

    def is_due(self, now: int) -> bool:
        """Tell whether it may have something to say."""
        return self.news or now >= self.due or now < self.asked

    def is_unheard(self) -> bool:
        """Tell whether nothing is known of it at all, so that there is no time to begin at."""
        return self.newest == 0 and self.diagnosis.next_step is None

    def has_step(self, now: int) -> bool:
        """Tell whether a step is over, so that asking costs more than the newest values."""
        return now >= self.diagnosis.due(self.punctuality.allowance())

    def glimpse(self, now: int) -> LiveStation | None:
        """Give the newest values, once, beside what was judged last; None if there are none."""
        if self.glimpsed or not self.news or self.outcome is None:
            return None
        self.glimpsed = True
        return self.diagnosis.glimpse(now)

    def advance(self, now: int, until: int, *, put_off: bool) -> Outcome:
        """Judge up to `until`."""
        allowance = self.punctuality.allowance()
        outcome = self.outcome = self.diagnosis.advance(until, allowance, put_off=put_off)
        self.news, self.glimpsed, self.asked = False, False, now
        self.due = min(now + LOOK_EVERY, max(now, self.diagnosis.due(allowance)))
        return outcome


class Diagnoses:
    """Holds every station's diagnosis. `position` is the journal position all of them have seen."""

    def __init__(self, plant: Plant, readings: ReadingsStore, facts: FactsStore) -> None:
        self._readings, self._facts = readings, facts
        self._stations = {s.id: s for s in plant.stations}
        self.watched: dict[StationId, Watched] = {}
        self.position = 0
        self._changes = 0
        self._acts: list[AlarmAct] = []
        self._acts_until = self._acts_at = 0
        self._saved_at = 0

    def open(self) -> list[Change]:
        """Load states, replay what came after them, and give all changes so far. StoreError."""
        changes, self._changes = self._changes_after(0)
        procedures = _newest_procedures(changes)
        for station in self._stations.values():
            watched, known = self._restored(station, procedures)
            self.watched[station.id] = watched
            for change in changes if known == 0 else self._changes_after(known)[0]:
                watched.diagnosis.note(change)
                if isinstance(change, AlarmAct):
                    self._acts.append(change)
        self._replay()
        return changes

    def push(self, position: int, batch: Batch, *, live: bool) -> None:
        """Take accepted readings; `live` ones also tell how punctual the station is."""
        for station, columns in _by_station(batch.columns).items():
            watched = self.watched.get(station)
            if watched is None or position <= watched.seen:
                continue
            watched.diagnosis.push(columns)
            watched.news, watched.glimpsed = True, False
            watched.newest = max(watched.newest, *(int(c.time[-1]) for c in columns.values()))
            if live:
                watched.diagnosis.note_receipt(batch.received, _newest(columns))
                oldest = min(int(c.time[0]) for c in columns.values())
                watched.punctuality.heard(batch.received, oldest, _newest(columns))
        self.position = max(self.position, position)

    def clock_offset_s(self, now: int) -> float | None:
        """Give the largest offset of a station that was heard lately; from any thread."""
        known = [w.punctuality.offset(now) for w in list(self.watched.values())]
        offsets = [offset for offset in known if offset is not None]
        return max(offsets, key=abs) / SECOND if offsets else None

    def look_again(self, station: StationId) -> None:
        """Ask a station once more at the next turn."""
        self.watched[station].news = True

    def say_online(self, online: Online) -> None:
        """Pass on what a station said of being on line.

        No journal holds it: a change is saved at once, before an alarm can come of it, so that a
        restart neither forgets nor doubles that alarm.
        """
        watched = self.watched.get(online.station)
        if watched is not None:
            watched.urgent |= watched.diagnosis.online.newest != online.online
            watched.diagnosis.note(online)
            watched.news = True

    def poll(self) -> list[Change]:
        """Ask for human acts, weld events and procedures, and pass them on. StoreError."""
        news, self._changes = self._changes_after(self._changes)
        for change in news:
            for watched in self.watched.values():
                watched.diagnosis.note(change)
                watched.news = True
        return news

    def due(self, now: int, *, draining: bool) -> tuple[list[StationId], list[StationId]]:
        """Give the stations to ask, those with values only and those with a step.

        Both in the order in which they were asked last.
        """
        due = {
            station: watched
            for station, watched in self.watched.items()
            if watched.is_due(now) and not (draining and watched.is_unheard())
        }
        parts: tuple[list[StationId], list[StationId]] = ([], [])
        for station, watched in sorted(due.items(), key=lambda item: item[1].asked):
            parts[watched.has_step(now)].append(station)
        return parts

    def glimpses(self, stations: Iterable[StationId], now: int) -> Iterator[LiveStation]:
        """Give the newest values of stations before they are judged."""
        for station in stations:
            live = self.watched[station].glimpse(now)
            if live is not None:
                yield live

    def advance(
        self,
        stations: Iterable[StationId],
        now: int,
        *,
        draining: bool,
        settling: bool = False,
        slice_s: float | None = None,
    ) -> Iterator[tuple[StationId, Outcome]]:
        """Judge stations up to `now`, until `slice_s` is over; then slow checks are put off, too.

        While a backlog is drained, only up to a station's newest reading: time stands still there.
        While it settles, a station that another run has judged goes no further: what that one had
        not acknowledged comes again after what is newer, and a step is judged once.
        """
        began = time.perf_counter()
        for station in stations:
            watched = self.watched[station]
            until = min(now, watched.newest) if draining else now
            if settling and watched.resumed:
                until = min(until, watched.diagnosis.judged_until())
            yield station, watched.advance(now, until, put_off=slice_s is not None)
            if slice_s is not None and time.perf_counter() - began >= slice_s:
                break
        if self._acts and (now >= self._acts_at + ACTS_AGAIN_EVERY or now < self._acts_at):
            self._note_acts_again(now)

    def settle(self, stations: Iterable[StationId]) -> list[Finding]:
        """Make the slow checks that were put off; give what they found."""
        return [f for station in stations for f in self.watched[station].diagnosis.settle()]

    def most_put_off(self) -> StationId | None:
        """Give the station whose slow checks wait longest, if that is worth a turn."""
        waiting = ((w.diagnosis.put_off.steps, s) for s, w in self.watched.items())
        steps, station = max(waiting, default=(0, None))
        return station if steps >= WORTH_SETTLING else None

    def to_save(self, now: int) -> list[StationId]:
        """Name the stations whose state is urgent, and now and then the most overdue ones."""
        urgent = [station for station, watched in self.watched.items() if watched.urgent]
        due: list[tuple[int, StationId]] = []
        if now - self._saved_at >= SAVE_PAUSE or now < self._saved_at:
            due = sorted(
                (watched.saved_at, station)
                for station, watched in self.watched.items()
                if now - watched.saved_at >= SAVE_EVERY or now < watched.saved_at
            )
        overdue = [station for _, station in due[:SAVED_TOGETHER]]
        return [*dict.fromkeys([*urgent[:URGENT_AT_ONCE], *overdue])]

    def save(self, stations: Sequence[StationId], now: int) -> None:
        """Save states whose slow checks are settled, and release the journal. StoreError."""
        saved = [self.watched[station] for station in stations]
        states = [SavedState(self._changes, w.diagnosis.dump()).to_bytes() for w in saved]
        self._facts.save_states(self.position, dict(zip(stations, states, strict=True)))
        self._saved_at = now
        for watched in saved:
            watched.urgent = False
            watched.saved, watched.saved_at = self.position, now
        self._readings.release(min(w.saved for w in self.watched.values()))

    def by_age(self) -> list[StationId]:
        """Name all stations, that whose state is the oldest first."""
        return sorted(self.watched, key=lambda s: self.watched[s].saved)

    def _changes_after(self, position: int) -> tuple[list[Change], int]:
        found: list[Change] = []
        while True:
            at, changes = self._facts.changes_since(position)
            found += changes
            if at == position:
                return found, at
            position = at

    def _restored(
        self, station: Station, procedures: Mapping[str, Procedure]
    ) -> tuple[Watched, int]:
        loaded = self._facts.load_state(station.id)
        state = None if loaded is None else SavedState.from_bytes(loaded[1])
        if loaded is None or state is None:
            return Watched(StationDiagnosis(station, procedures)), 0
        position, _ = loaded
        diagnosis = StationDiagnosis.restore(station, procedures, state.dump)
        watched = Watched(diagnosis, seen=position, saved=position)
        if diagnosis.next_step is not None:
            watched.resumed, watched.newest = True, diagnosis.judged_until()
        return watched, state.changes

    def _replay(self) -> None:
        """Push what was accepted after the saved states."""
        self.position = min((w.seen for w in self.watched.values()), default=0)
        start, count = self.position, 0
        for position, batch in self._readings.since(start):
            self.push(position, batch, live=False)
            count += len(batch)
        if count:
            LOG.info("replayed %d readings after position %d", count, start)

    def _note_acts_again(self, now: int) -> None:
        """Give acts once more to alarms that only the replayed readings have raised."""
        self._acts_at = now
        self._acts_until = self._acts_until or now + ACTS_AGAIN_FOR
        if now > self._acts_until:
            self._acts.clear()
        for act in self._acts:
            for watched in self.watched.values():
                watched.diagnosis.note(act)
                watched.news = True


def _newest(columns: Mapping[ChannelId, Columns]) -> int:
    """Give the time of the newest reading of a batch."""
    return max(int(c.time[-1]) for c in columns.values())


def _newest_procedures(changes: Iterable[Change]) -> dict[str, Procedure]:
    procedures: dict[str, Procedure] = {}
    for change in changes:
        if isinstance(change, Procedure):
            known = procedures.get(change.id)
            if known is None or change.revision >= known.revision:
                procedures[change.id] = change
    return procedures


def _by_station(
    columns: Mapping[ChannelId, Columns],
) -> dict[StationId, dict[ChannelId, Columns]]:
    stations: dict[StationId, dict[ChannelId, Columns]] = {}
    for channel, rows in columns.items():
        if len(rows):
            stations.setdefault(channel.station_id, {})[channel] = rows
    return stations
