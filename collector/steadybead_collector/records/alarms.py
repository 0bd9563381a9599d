"""Alarm facts and human acts; the state that both give is derived elsewhere, from these alone."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import audit, changes, rows
from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_collector.records.schema import alarm_act, alarm_fact
from steadybead_domain.alarms.catalogue import QUIET_RETURN
from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmFact
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor

_MANY = 400


@dataclass(frozen=True, slots=True)
class Occurrence:
    """Everything that was written of one alarm occurrence, in the order of its commits."""

    facts: tuple[AlarmFact, ...]
    acts: tuple[AlarmAct, ...]


class AlarmRecords:
    """Facts from the collector, acts from people."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add_facts(self, facts: Sequence[AlarmFact]) -> None:
        """Keep facts; a repeat of (alarm, time, active) is a no-op."""
        if not facts:
            return
        with self._database.write() as connection:
            known = _known(connection, facts)
            begun = _begun(connection, {f.alarm for f in facts})
            for fact in facts:
                key = (fact.alarm, fact.time, fact.active)
                if key in known:
                    continue
                values = rows.alarm_fact_values(fact)
                first = fact.alarm not in begun
                connection.execute(sa.insert(alarm_fact).values(first=first, **values))
                known.add(key)
                begun.add(fact.alarm)

    def act(self, act: AlarmAct, by: Actor, via: str) -> bool:
        """Keep a person's act, also in the audit trail; False if there is no such alarm."""
        with self._database.write() as connection:
            if not _begun(connection, {act.alarm}):
                return False
            number = changes.next_number(connection, "alarm act")
            values = rows.alarm_act_values(act)
            connection.execute(sa.insert(alarm_act).values(seq=number, **values))
            what = f"alarm {act.kind.value}"
            detail = {"until": act.until, "reason": act.reason}
            audit.note(connection, act.time, by, via, what, subject=act.alarm, **detail)
            return True

    def get(self, alarm: str) -> Occurrence | None:
        """Find one occurrence."""
        with self._database.read() as connection:
            return _occurrences(connection, [alarm]).get(alarm)

    def page(
        self,
        limit: int,
        after: Key | None = None,
        station: StationId | None = None,
        unsettled_at: int | None = None,
    ) -> Page[Occurrence]:
        """List occurrences, the newest first, each with the facts that its state depends on.

        With `unsettled_at`, leave out most of those whose state is normal at that time: every
        one whose state is not normal is there, and the state itself decides about the rest.
        """
        table = alarm_fact
        query = sa.select(table.c.id, table.c.alarm, table.c.time).where(table.c.first)
        query = query.where(*_of_station(station), *_beyond(after))
        if unsettled_at is not None:
            query = query.where(sa.not_(_surely_normal(unsettled_at)))
        query = query.order_by(table.c.time.desc(), table.c.id.desc()).limit(limit + 1)
        with self._database.read() as connection:
            found = connection.execute(query).all()
            whole = _occurrences(connection, [r.alarm for r in found], whole=False)
        items = [whole[r.alarm] for r in found]
        return cut(items, [(r.time, r.id) for r in found], limit)

    def between(self, start: int, end: int) -> list[AlarmFact]:
        """List the facts of [start, end) and the last ones before of what still stood then."""
        older, table = alarm_fact.alias("older"), alarm_fact.c
        last = sa.select(sa.func.max(older.c.time)).where(
            older.c.alarm == table.alarm, older.c.time < start
        )
        stood = sa.and_(
            table.time < start,
            table.active,
            table.time == last.correlate(alarm_fact).scalar_subquery(),
        )
        inside = sa.and_(table.time >= start, table.time < end)
        query = sa.select(alarm_fact).where(sa.or_(inside, stood)).order_by(table.time, table.id)
        with self._database.read() as connection:
            return [rows.alarm_fact(row) for row in connection.execute(query)]

    def facts(
        self, limit: int, after: Key | None = None, station: StationId | None = None
    ) -> Page[AlarmFact]:
        """List facts, the newest first."""
        query = sa.select(alarm_fact).where(*_of_station(station), *_beyond(after))
        query = query.order_by(alarm_fact.c.time.desc(), alarm_fact.c.id.desc()).limit(limit + 1)
        with self._database.read() as connection:
            found = connection.execute(query).all()
        return cut([rows.alarm_fact(r) for r in found], [(r.time, r.id) for r in found], limit)


def _known(connection: Connection, facts: Sequence[AlarmFact]) -> set[tuple[str, int, bool]]:
    """Give what is there of these facts; an alarm that chatters for days has thousands more."""
    table = alarm_fact.c
    known: set[tuple[str, int, bool]] = set()
    for i in range(0, len(facts), _MANY):
        part = facts[i : i + _MANY]
        query = sa.select(table.alarm, table.time, table.active).where(
            table.alarm.in_(sorted({f.alarm for f in part})),
            table.time.in_(sorted({f.time for f in part})),
        )
        known.update((r.alarm, r.time, r.active) for r in connection.execute(query))
    return known


def _begun(connection: Connection, alarms: set[str]) -> set[str]:
    """Give those of the alarms that have a fact."""
    names = sorted(alarms)
    begun: set[str] = set()
    for i in range(0, len(names), _MANY):
        part = alarm_fact.c.alarm.in_(names[i : i + _MANY])
        query = sa.select(alarm_fact.c.alarm).where(part).distinct()
        begun.update(connection.execute(query).scalars())
    return begun


def _occurrences(
    connection: Connection, alarms: Sequence[str], *, whole: bool = True
) -> dict[str, Occurrence]:
    facts: defaultdict[str, list[AlarmFact]] = defaultdict(list)
    acts: defaultdict[str, list[AlarmAct]] = defaultdict(list)
    for i in range(0, len(alarms), _MANY):
        part = alarms[i : i + _MANY]
        told = sa.select(alarm_fact).where(alarm_fact.c.alarm.in_(part))
        told = (told if whole else _deciding(told, part)).order_by(alarm_fact.c.id)
        for row in connection.execute(told):
            facts[row.alarm].append(rows.alarm_fact(row))
        done = sa.select(alarm_act).where(alarm_act.c.alarm.in_(part)).order_by(alarm_act.c.seq)
        for row in connection.execute(done):
            acts[row.alarm].append(rows.alarm_act(row))
    return {alarm: Occurrence(tuple(f), tuple(acts[alarm])) for alarm, f in facts.items()}


def _deciding(told: sa.Select[Any], alarms: Sequence[str]) -> sa.Select[Any]:
    """Leave out the facts on which no state depends: between the first raise and the last return.

    The last return is the newest one that a raise follows.
    """
    one = alarm_fact.alias("one").c
    raised = sa.case((one.active, one.time))
    spans = sa.select(
        *(one.id, one.alarm, one.time, one.active, one.merged_into),
        sa.func.min(raised).over(partition_by=one.alarm).label("first"),
        sa.func.max(raised).over(partition_by=one.alarm).label("last"),
    )
    span = spans.where(one.alarm.in_(alarms)).subquery("span").c
    back = sa.case((sa.and_(sa.not_(span.active), span.time <= span.last), span.time))
    returns = sa.select(
        *(span.id, span.time, span.first, span.merged_into),
        sa.func.max(back).over(partition_by=span.alarm).label("back"),
    )
    told_of = returns.subquery("told_of").c
    since = sa.or_(told_of.back.is_(None), told_of.time >= told_of.back)
    kept = sa.select(told_of.id).where(
        sa.or_(since, told_of.time == told_of.first, told_of.merged_into != "")
    )
    return told.where(alarm_fact.c.id.in_(kept))


def _of_station(station: StationId | None) -> list[sa.ColumnElement[bool]]:
    if station is None:
        return []
    return [alarm_fact.c.site == station.site, alarm_fact.c.station == station.station]


def _beyond(after: Key | None) -> list[sa.ColumnElement[bool]]:
    if after is None:
        return []
    time, row = after
    same = sa.and_(alarm_fact.c.time == time, alarm_fact.c.id < row)
    return [sa.or_(alarm_fact.c.time < time, same)]


def _surely_normal(now: int) -> sa.ColumnElement[bool]:
    """Tell in SQL what is normal for certain; the state function knows more cases."""
    told, act = alarm_fact.alias("told"), alarm_act.alias("act")
    facts = sa.select(told.c.id).where(told.c.alarm == alarm_fact.c.alarm)
    newest = sa.select(sa.func.max(told.c.time)).where(told.c.alarm == alarm_fact.c.alarm)
    last = newest.correlate(alarm_fact).scalar_subquery()
    last_active = newest.where(told.c.active).correlate(alarm_fact).scalar_subquery()
    stands = facts.where(told.c.active, told.c.time >= last)
    acts = sa.select(act.c.seq).where(act.c.alarm == alarm_fact.c.alarm)
    acknowledged = acts.where(
        act.c.kind == ActKind.ACKNOWLEDGE.value,
        sa.func.coalesce(act.c.of_raise, act.c.time) >= last_active,
        sa.or_(sa.not_(_exists(facts.where(told.c.latching))), act.c.time >= last),
    )
    shelved = sa.and_(act.c.kind == ActKind.SHELVE.value, act.c.until > now)
    put_aside = acts.where(sa.or_(shelved, act.c.kind == ActKind.TAKE_OUT_OF_SERVICE.value))
    grave = facts.where(told.c.kind.not_in(sorted(QUIET_RETURN)))
    seen = sa.or_(_exists(acknowledged), sa.not_(_exists(grave)))
    settled = sa.and_(sa.not_(_exists(stands)), seen, sa.not_(_exists(put_aside)))
    return sa.or_(_exists(facts.where(told.c.merged_into != "")), settled)


def _exists(query: sa.Select[Any]) -> sa.Exists:
    return query.correlate(alarm_fact).exists()
