"""The audit trail: who did what to which thing, and when."""

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import schema
from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_domain.people import Actor


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
    connection.execute(sa.insert(schema.audit).values(detail=detail, **values))


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
