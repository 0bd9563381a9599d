"""The audit trail: who did what to which thing, and when. It is only added to, and chained."""

import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection, RowMapping

from steadybead_collector.event_log import event
from steadybead_collector.records import chain, schema
from steadybead_collector.records.chain import Head, Walked
from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_domain.people import Actor

LOG: Final = logging.getLogger(__name__)
_AT_ONCE: Final = 1000


@dataclass(frozen=True, slots=True)
class AuditEntry:
    """One act as it was done; `detail` holds its numbers and words."""

    time: int
    actor: str
    via: str
    what: str
    subject: str
    detail: dict[str, Any]


def note(
    connection: Connection,
    time: int,
    by: Actor,
    via: str,
    what: str,
    *,
    subject: str,
    **detail: Any,
) -> None:
    """Add an entry in the transaction of the act itself."""
    values = {"time": time, "actor": by.name, "via": via, "what": what, "subject": subject}
    detail["role"] = by.role.value
    chain.append(connection, schema.audit, {**values, "detail": detail})
    told = event("act", what=what, subject=subject, actor=by.name, role=by.role.value, via=via)
    LOG.info("%s", what, extra=told)


class AuditTrail:
    """The trail, newest first."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def page(self, limit: int, after: Key | None = None) -> Page[AuditEntry]:
        """List entries."""
        table = schema.audit
        query = sa.select(table).order_by(table.c.id.desc()).limit(limit + 1)
        if after is not None:
            query = query.where(table.c.id < after[0])
        with self._database.read() as connection:
            found = connection.execute(query).all()
        entries = [
            AuditEntry(r.time, r.actor, r.via, r.what, r.subject, dict(r.detail)) for r in found
        ]
        return cut(entries, [(r.id,) for r in found], limit)

    def head(self) -> Head | None:
        """Give the newest entry; None if there is none."""
        table = schema.audit
        newest = sa.select(table.c.id, table.c.sha256).order_by(table.c.id.desc()).limit(1)
        with self._database.read() as connection:
            row = connection.execute(newest).first()
        return None if row is None else Head(row.id, bytes(row.sha256).hex())

    def walk(self, wanted: Iterable[Head] = ()) -> Walked:
        """Hash the whole trail again; `wanted` are heads that were told at other times."""
        return chain.walk(self._rows(), wanted)

    def _rows(self) -> Iterator[RowMapping]:
        """Give all rows in order, some at a time, so that no writer waits for the end."""
        table, last = schema.audit, -1
        while True:
            query = sa.select(table).where(table.c.id > last).order_by(table.c.id).limit(_AT_ONCE)
            with self._database.read() as connection:
                rows = connection.execute(query).mappings().all()
            if not rows:
                return
            yield from rows
            last = rows[-1]["id"]
