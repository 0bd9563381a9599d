"""Weld records: events, amendments, sign-offs and verdicts in; records out."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import audit, changes, rows, weld_index, weld_query
from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_collector.records.revisions import NotKeptError, TakenError
from steadybead_collector.records.schema import (
    weld_amendment,
    weld_event,
    weld_signature,
    weld_verdict,
)
from steadybead_collector.records.weld_index import WeldSearch
from steadybead_domain.calibration.validation import Problem
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor
from steadybead_domain.weld_amendments import (
    Amendment,
    Signature,
    amendment_problems,
    news,
    standing,
)
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind

__all__ = ["VerdictNote", "WeldRecords", "WeldSearch"]


@dataclass(frozen=True, slots=True)
class VerdictNote:
    """A verdict as it was computed at `time`: its word, its excursions, and all of it as JSON."""

    weld: str
    time: int
    word: str
    excursions: int
    content: Mapping[str, Any]


class WeldRecords:
    """The same records as the kernel's `fold` of all events, with their amendments applied."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, event: WeldEvent, by: Actor | None = None) -> bool:
        """Keep the event; with `by`, also in the audit trail.

        False, and nothing kept, if it repeats one, if a stop names no record that was started, or
        if it names a record of another gun.
        """
        with self._database.write() as connection:
            if not weld_query.is_news(connection, event):
                return False
            ended = weld_query.newest_on(connection, event.station, event.gun)
            number = changes.next_number(connection, "weld")
            values = rows.weld_event_values(event)
            connection.execute(sa.insert(weld_event).values(seq=number, **values))
            weld_index.refresh(connection, event.weld)
            if event.kind is WeldEventKind.START and ended is not None:
                weld_index.refresh(connection, ended)
            if by is not None:
                what = f"weld {event.kind.value}"
                audit.note(connection, event.time, by, event.via, what, subject=event.weld)
            return True

    def add_late(self, event: WeldEvent, by: Actor, now: int, reason: str) -> bool:
        """Keep a weld that is entered after it was laid; `reason` opens its list of amendments.

        False, and nothing kept, if there is a record of that id.
        """
        with self._database.write() as connection:
            if not weld_query.is_news(connection, event):
                return False
            number = changes.next_number(connection, "weld")
            values = rows.weld_event_values(event)
            connection.execute(sa.insert(weld_event).values(seq=number, **values))
            item = Amendment(event.weld, 1, now, by.name, event.via, rows.storable(reason), {}, {})
            _insert_amendment(connection, item)
            audit.note(connection, now, by, event.via, "weld late", subject=event.weld)
            weld_index.refresh(connection, event.weld)
            return True

    def amend(
        self,
        weld: str,
        wanted: Mapping[str, Any],
        reason: str,
        by: Actor,
        now: int,
        via: str,
        *,
        entry: str | None = None,
        acted: int | None = None,
    ) -> tuple[Amendment | None, Weld]:
        """Keep an amendment; None where `wanted` says nothing new. Gives the record as it stands.

        An `entry` that is known already changes nothing, whatever stands there by now. Raises
        NotKeptError with all mistakes, KeyError if there is no such record, TakenError if the
        entry is of another record.
        """
        with self._database.write() as connection:
            found = _existing(connection, weld)
            if entry is not None and _is_known(connection, weld, entry):
                return None, found
            fresh = news(found, wanted)
            if not fresh:
                return None, found
            problems = amendment_problems(found, fresh, reason, now)
            if problems:
                raise NotKeptError([Problem(at, text) for at, text in problems])
            item = Amendment(
                weld,
                found.amendments + 1,
                now,
                by.name,
                via,
                rows.storable(reason.strip()),
                rows.storable_texts(fresh),
                {name: standing(found, name) for name in fresh},
                entry,
                acted,
            )
            _insert_amendment(connection, item)
            audit.note(connection, now, by, via, "weld amended", subject=weld, number=item.number)
            weld_index.refresh(connection, weld)
            return item, _existing(connection, weld)

    def sign(self, weld: str, as_role: str, by: Actor, now: int, via: str) -> Signature:
        """Sign a record off; one that covers it already stays. KeyError, TakenError."""
        with self._database.write() as connection:
            found = _existing(connection, weld)
            if found.stop is None:
                raise TakenError("the record still runs: stop it before it is signed off")
            others = [s for s in _signatures(connection, weld) if s.covers(found)]
            mine = [s for s in others if s.as_role == as_role]
            if mine:
                return mine[-1]
            if any(s.name == by.name for s in others):
                raise TakenError("the same person cannot sign as welder and as supervisor")
            item = Signature(weld, as_role, by.name, by.role.value, now, found.amendments)
            values = {n: getattr(item, n) for n in Signature.__dataclass_fields__}
            connection.execute(sa.insert(weld_signature).values(**values))
            audit.note(connection, now, by, via, "weld signed", subject=weld, as_role=as_role)
            return item

    def get(self, weld: str) -> Weld | None:
        """Find a record by its id."""
        with self._database.read() as connection:
            return weld_query.one(connection, weld)

    def open_on(self, station: StationId, gun: str) -> Weld | None:
        """Find the record that runs on a gun; an older one never does."""
        with self._database.read() as connection:
            name = weld_query.newest_on(connection, station, gun)
            newest = None if name is None else weld_query.one(connection, name)
        return newest if newest is not None and newest.stop is None else None

    def page(self, search: WeldSearch, limit: int, after: Key | None = None) -> Page[Weld]:
        """List records, the latest start first."""
        with self._database.read() as connection:
            found = weld_index.page(connection, search, limit + 1, after)
            welds = weld_query.some(connection, [weld for weld, _, _ in found])
        return cut(welds, [(start, seq) for _, start, seq in found], limit)

    def events(self, weld: str) -> list[WeldEvent]:
        """Give the events of one record as they were told."""
        query = sa.select(weld_event).where(weld_event.c.weld == weld).order_by(weld_event.c.seq)
        with self._database.read() as connection:
            return [rows.weld_event(row) for row in connection.execute(query)]

    def amendments(self, weld: str) -> list[Amendment]:
        """Give the amendments of one record, the first one first."""
        with self._database.read() as connection:
            return weld_query.amendments_of(connection, weld)

    def signatures(self, weld: str) -> list[Signature]:
        """Give the sign-offs of one record in their order."""
        with self._database.read() as connection:
            return _signatures(connection, weld)

    def note_verdict(self, note: VerdictNote) -> bool:
        """Keep a verdict, and make it what a search finds; False if it repeats the newest one."""
        with self._database.write() as connection:
            newest = _newest_verdict(connection, note.weld)
            content = json.loads(json.dumps(dict(note.content)))
            is_new = newest is None or (newest.word, newest.content) != (note.word, content)
            if is_new:
                values = {n: getattr(note, n) for n in ("weld", "time", "word", "excursions")}
                connection.execute(sa.insert(weld_verdict).values(content=content, **values))
            weld_index.judge(connection, note.weld, note.word, note.excursions, content)
            return is_new

    def newest_verdict(self, weld: str) -> VerdictNote | None:
        """Give the newest verdict that was kept of a record."""
        with self._database.read() as connection:
            return _newest_verdict(connection, weld)

    def verdict_words(self, welds: Sequence[str]) -> dict[str, tuple[str, int]]:
        """Give verdict word and excursions by record; the word is empty where none holds."""
        with self._database.read() as connection:
            return weld_index.verdicts(connection, list(welds))

    def verdict_counts(self, began_from: int, began_before: int) -> dict[str, int]:
        """Count the finished records that began in [from, before), by verdict word."""
        with self._database.read() as connection:
            return weld_index.counts(connection, began_from, began_before)

    def complete_index(self) -> None:
        """Index what an older version or a restored backup left without."""
        with self._database.read() as connection:
            if weld_index.is_complete(connection):
                return
        with self._database.write() as connection:
            weld_index.rebuild(connection)


def _existing(connection: Connection, weld: str) -> Weld:
    found = weld_query.one(connection, weld)
    if found is None:
        raise KeyError(weld)
    return found


def _is_known(connection: Connection, weld: str, entry: str) -> bool:
    query = sa.select(weld_amendment.c.weld).where(weld_amendment.c.entry == entry)
    known = connection.scalar(query)
    if known not in (None, weld):
        raise TakenError(f"entry {entry} is of another weld record: give another id")
    return known is not None


def _insert_amendment(connection: Connection, item: Amendment) -> None:
    values = {n: getattr(item, n) for n in Amendment.__dataclass_fields__}
    connection.execute(sa.insert(weld_amendment).values(**values))


def _signatures(connection: Connection, weld: str) -> list[Signature]:
    table = weld_signature.c
    query = sa.select(weld_signature).where(table.weld == weld).order_by(table.id)
    return [
        Signature(r.weld, r.as_role, r.name, r.role, r.time, r.amendments)
        for r in connection.execute(query)
    ]


def _newest_verdict(connection: Connection, weld: str) -> VerdictNote | None:
    table = weld_verdict.c
    query = sa.select(weld_verdict).where(table.weld == weld).order_by(table.id.desc()).limit(1)
    row = connection.execute(query).first()
    if row is None:
        return None
    return VerdictNote(row.weld, row.time, row.word, row.excursions, dict(row.content))
