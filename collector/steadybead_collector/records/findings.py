"""What the diagnosis found, each as often as it was told; whether it stands is worked out here."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_collector.records.schema import finding as table
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.standing import finding_id, subject_of
from steadybead_domain.ids import StationId

_MANY = 400


@dataclass(frozen=True, slots=True)
class Told:
    """A finding as it was told last; `superseded`: when a newer one about the same was told."""

    id: str
    finding: Finding
    superseded: int | None


class FindingRecords:
    """Written by the collector alone; rows are only ever added."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, findings: Sequence[Finding]) -> None:
        """Keep findings; a repeat of (identity, time) is a no-op."""
        if not findings:
            return
        with self._database.write() as connection:
            known = _known(connection, {finding_id(f) for f in findings})
            for item in findings:
                key = (finding_id(item), item.time)
                if key not in known:
                    connection.execute(sa.insert(table).values(**_values(key[0], item)))
                    known.add(key)

    def get(self, finding: str) -> Told | None:
        """Find one as it was told last."""
        query = _selected().where(table.c.finding == finding)
        with self._database.read() as connection:
            row = connection.execute(query).first()
        return None if row is None else _told(row)

    def page(
        self,
        limit: int,
        after: Key | None = None,
        station: StationId | None = None,
        *,
        only_newest: bool = False,
    ) -> Page[Told]:
        """List findings as told last, the newest first; `only_newest`: one for each subject."""
        query = _selected().where(*_of_station(station), *_beyond(after))
        if only_newest:
            query = query.where(_superseded().is_(None))
        query = query.order_by(table.c.time.desc(), table.c.id.desc()).limit(limit + 1)
        with self._database.read() as connection:
            found = connection.execute(query).all()
        return cut([_told(r) for r in found], [(r.time, r.id) for r in found], limit)

    def of_kinds(self, station: StationId, prefix: str, since: int, most: int) -> list[Finding]:
        """List what was told since a time in kinds with a prefix: the newest `most`, in order."""
        query = sa.select(table.c.content).where(
            *_of_station(station),
            table.c.kind.startswith(prefix, autoescape=True),
            table.c.time >= since,
        )
        query = query.order_by(table.c.time.desc(), table.c.id.desc()).limit(most)
        with self._database.read() as connection:
            found = [Finding.from_json(content) for content in connection.scalars(query)]
        return found[::-1]


def _known(connection: Connection, ids: set[str]) -> set[tuple[str, int]]:
    known: set[tuple[str, int]] = set()
    names = sorted(ids)
    for i in range(0, len(names), _MANY):
        part = table.c.finding.in_(names[i : i + _MANY])
        found = connection.execute(sa.select(table.c.finding, table.c.time).where(part))
        known.update((r.finding, r.time) for r in found)
    return known


def _selected() -> sa.Select[Any]:
    """Each finding in its newest words."""
    again = table.alias("again")
    later = sa.and_(again.c.finding == table.c.finding, again.c.time > table.c.time)
    query = sa.select(table, _superseded().label("superseded"))
    return query.where(sa.not_(sa.exists(sa.select(again.c.id).where(later))))


def _superseded() -> sa.ScalarSelect[Any]:
    newer = table.alias("newer")
    follows = sa.or_(
        newer.c.time > table.c.time,
        sa.and_(newer.c.time == table.c.time, newer.c.id > table.c.id),
    )
    query = sa.select(sa.func.min(newer.c.time)).where(
        newer.c.subject == table.c.subject, newer.c.finding != table.c.finding, follows
    )
    return query.correlate(table).scalar_subquery()


def _of_station(station: StationId | None) -> list[sa.ColumnElement[bool]]:
    if station is None:
        return []
    return [table.c.site == station.site, table.c.station == station.station]


def _beyond(after: Key | None) -> list[sa.ColumnElement[bool]]:
    if after is None:
        return []
    time, row = after
    same = sa.and_(table.c.time == time, table.c.id < row)
    return [sa.or_(table.c.time < time, same)]


def _told(row: Any) -> Told:
    return Told(row.finding, Finding.from_json(row.content), row.superseded)


def _values(name: str, item: Finding) -> dict[str, Any]:
    return {
        "finding": name,
        "subject": subject_of(item),
        "kind": item.kind,
        "site": item.station.site,
        "station": item.station.station,
        "time": item.time,
        "since": item.since,
        "content": _finite(item.to_json()),
    }


def _finite(content: dict[str, Any]) -> dict[str, Any]:
    """Write null for what is no number: JSON has no word for it, nor has a reader any use."""
    return {
        name: _finite(value)
        if isinstance(value, dict)
        else None
        if isinstance(value, float) and not math.isfinite(value)
        else value
        for name, value in content.items()
    }
