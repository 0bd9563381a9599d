"""Procedures as revision rows: a new revision is added, an old one stays as it was."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import audit, changes, rows
from steadybead_collector.records.database import Database
from steadybead_collector.records.revisions import NotKeptError, TakenError
from steadybead_collector.records.schema import procedure, procedure_approval
from steadybead_domain.calibration.validation import Problem
from steadybead_domain.people import Actor
from steadybead_domain.procedure_rules import changed_fields, procedure_problems, with_origins
from steadybead_domain.procedures import Procedure


@dataclass(frozen=True, slots=True)
class ProcedureRevision:
    """A revision, who wrote it, from when it is there, and who approved it when (or nobody)."""

    procedure: Procedure
    author: str
    time: int
    approved_by: str = ""
    approved_at: int | None = None


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

    def keep(
        self, item: Procedure, by: Actor, time: int, via: str
    ) -> tuple[ProcedureRevision, bool]:
        """Keep `item` as the revision that it says it is; give it, and whether it is new.

        The same revision told again changes nothing. Raises NotKeptError with all mistakes, or
        TakenError where another revision is next or other figures stand there.
        """
        with self._database.write() as connection:
            rows_of_it = [_revision(row) for row in connection.execute(_of(item.id))]
            known = {r.procedure.revision: r for r in rows_of_it}
            earlier = known.get(item.revision - 1)
            before = None if earlier is None else earlier.procedure
            item = with_origins(item, before)
            there = known.get(item.revision)
            if there is not None:
                if rows.procedure_content(there.procedure) == rows.procedure_content(item):
                    return there, False
                raise TakenError(_taken(item.id, item.revision))
            following = max(known, default=0) + 1
            if item.revision != following:
                raise TakenError(f"the next revision of procedure {item.id} is {following}")
            _check(item, before)
            _insert(connection, item, by.name, time)
            what = "procedure revision"
            audit.note(connection, time, by, via, what, subject=item.id, revision=item.revision)
        return ProcedureRevision(item, by.name, time), True

    def approve(
        self, procedure_id: str, revision: int, by: Actor, time: int, via: str
    ) -> ProcedureRevision | None:
        """Approve a revision; one that is approved stays as it is. None: no such revision."""
        with self._database.write() as connection:
            wanted = sa.and_(procedure.c.id == procedure_id, procedure.c.revision == revision)
            row = connection.execute(_selected().where(wanted)).first()
            if row is None or row.approved_at is not None:
                return None if row is None else _revision(row)
            values = {"name": by.name, "role": by.role.value, "time": time}
            place = {"procedure": procedure_id, "revision": revision}
            connection.execute(sa.insert(procedure_approval).values(**place, **values))
            what = "procedure approved"
            audit.note(connection, time, by, via, what, subject=procedure_id, revision=revision)
            return replace(_revision(row), approved_by=by.name, approved_at=time)

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
        query = _of(procedure_id).limit(1)
        if revision is not None:
            query = query.where(procedure.c.revision == revision)
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
        query = _selected().join(newest, same).order_by(procedure.c.id)
        with self._database.read() as connection:
            return [_revision(row) for row in connection.execute(query)]

    def revisions(self, procedure_id: str) -> list[ProcedureRevision]:
        """List all revisions of one procedure, the newest first."""
        with self._database.read() as connection:
            return [_revision(row) for row in connection.execute(_of(procedure_id))]


def _insert(connection: Connection, item: Procedure, author: str, time: int) -> None:
    number = changes.next_number(connection, "procedure")
    content = rows.procedure_content(item)
    values = {"id": item.id, "revision": item.revision, "author": author, "time": time}
    connection.execute(sa.insert(procedure).values(seq=number, content=content, **values))


def _selected() -> sa.Select[Any]:
    approved = procedure_approval.c
    same = sa.and_(approved.procedure == procedure.c.id, approved.revision == procedure.c.revision)
    columns = (approved.name.label("approved_by"), approved.time.label("approved_at"))
    return sa.select(procedure, *columns).select_from(procedure.outerjoin(procedure_approval, same))


def _of(procedure_id: str) -> sa.Select[Any]:
    query = _selected().where(procedure.c.id == procedure_id)
    return query.order_by(procedure.c.revision.desc())


def _check(item: Procedure, before: Procedure | None) -> None:
    found = procedure_problems(item)
    if before is not None and not found and not changed_fields(item, before):
        found.append(("reason", "nothing differs from the revision before: change something"))
    if found:
        raise NotKeptError([Problem(at, text) for at, text in found])


def _taken(procedure_id: str, revision: int) -> str:
    if revision == 1:
        return f"there is a procedure {procedure_id} already: give another id, or revise that one"
    return f"somebody revised procedure {procedure_id} meanwhile: look at it, and do it again"


def _revision(row: Any) -> ProcedureRevision:
    by = row.approved_by or ""
    return ProcedureRevision(rows.procedure(row), row.author, row.time, by, row.approved_at)
