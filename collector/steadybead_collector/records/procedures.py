"""Procedures as revision rows: a new revision is added, an old one stays as it was."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import audit, changes, rows
from steadybead_collector.records.database import Database
from steadybead_collector.records.schema import procedure
from steadybead_domain.people import Actor
from steadybead_domain.procedures import Procedure


@dataclass(frozen=True, slots=True)
class ProcedureRevision:
    """A revision, who wrote it and from when it is there."""

    procedure: Procedure
    author: str
    time: int


class ProcedureRecords:
    """All revisions of all procedures."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, item: Procedure, by: Actor, time: int, via: str) -> ProcedureRevision:
        """Keep `item` as the next revision of its id, whatever revision it carries."""
        with self._database.write() as connection:
            newest = sa.select(sa.func.max(procedure.c.revision)).where(procedure.c.id == item.id)
            revision = int(connection.scalar(newest) or 0) + 1
            kept = replace(item, revision=revision)
            _insert(connection, kept, by.name, time)
            what = "procedure revision"
            audit.note(connection, time, by, via, what, subject=item.id, revision=revision)
        return ProcedureRevision(kept, by.name, time)

    def seed(self, items: Sequence[Procedure], author: str, time: int) -> bool:
        """Keep a first set if there is no procedure at all; tell whether it was kept."""
        with self._database.write() as connection:
            if connection.scalar(sa.select(sa.func.count()).select_from(procedure)):
                return False
            for item in items:
                _insert(connection, replace(item, revision=1), author, time)
            return True

    def get(self, procedure_id: str, revision: int | None = None) -> ProcedureRevision | None:
        """Find a revision, the newest one if none is named."""
        query = sa.select(procedure).where(procedure.c.id == procedure_id)
        if revision is not None:
            query = query.where(procedure.c.revision == revision)
        query = query.order_by(procedure.c.revision.desc()).limit(1)
        with self._database.read() as connection:
            row = connection.execute(query).first()
        return None if row is None else _revision(row)

    def as_of(self, procedure_id: str, time: int) -> ProcedureRevision | None:
        """Find the revision that held at a time, the first one if none did yet."""
        revisions = self.revisions(procedure_id)
        held = [r for r in revisions if r.time <= time]
        return held[0] if held else (revisions[-1] if revisions else None)

    def newest(self) -> list[ProcedureRevision]:
        """List the newest revision of each procedure, by id."""
        last = sa.select(procedure.c.id, sa.func.max(procedure.c.revision).label("revision"))
        newest = last.group_by(procedure.c.id).subquery()
        same = sa.and_(procedure.c.id == newest.c.id, procedure.c.revision == newest.c.revision)
        query = sa.select(procedure).join(newest, same).order_by(procedure.c.id)
        with self._database.read() as connection:
            return [_revision(row) for row in connection.execute(query)]

    def revisions(self, procedure_id: str) -> list[ProcedureRevision]:
        """List all revisions of one procedure, the newest first."""
        query = sa.select(procedure).where(procedure.c.id == procedure_id)
        with self._database.read() as connection:
            found = connection.execute(query.order_by(procedure.c.revision.desc()))
            return [_revision(row) for row in found]


def _insert(connection: Connection, item: Procedure, author: str, time: int) -> None:
    number = changes.next_number(connection, "procedure")
    content = rows.procedure_content(item)
    values = {"id": item.id, "revision": item.revision, "author": author, "time": time}
    connection.execute(sa.insert(procedure).values(seq=number, content=content, **values))


def _revision(row: Any) -> ProcedureRevision:
    return ProcedureRevision(rows.procedure(row), row.author, row.time)
