"""Quarantine: what was refused, why, and what to do about it. A repeat only counts."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_collector.records.rows import storable
from steadybead_collector.records.schema import quarantine
from steadybead_domain.ports import Refused

PAYLOAD_CAP = 4096
_MANY = 400
# their details name a thing, not a value: each gets a line of its own
_BY_DETAIL = ("unknown_channel", "unknown_station", "unit", "pointer", "name")


@dataclass(frozen=True, slots=True)
class QuarantineRow:
    """A refusal, how often it came and when last. `refused.received` is the first receipt."""

    id: int
    refused: Refused
    count: int
    last_received: int


@dataclass(frozen=True, slots=True)
class RefusalReason:
    """What one topic sent that was refused for one reason; `newest` is the latest row of it.

    `rows` counts different payloads, `count` all that came.
    """

    newest: QuarantineRow
    rows: int
    count: int
    first_received: int
    last_received: int


class Quarantine:
    """All refusals."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, refusals: Sequence[Refused]) -> None:
        """Keep refusals; the same topic, payload, outcome and record is one row that counts."""
        if not refusals:
            return
        counted: dict[bytes, list[Refused]] = {}
        for refused in refusals:
            counted.setdefault(_fingerprint(refused), []).append(refused)
        with self._database.write() as connection:
            known = _known(connection, list(counted))
            fresh = [_values(key, same) for key, same in counted.items() if key not in known]
            if fresh:
                connection.execute(sa.insert(quarantine), fresh)
            again = [
                {"key": key, "more": len(same), "latest": max(r.received for r in same)}
                for key, same in counted.items()
                if key in known
            ]
            if again:
                connection.execute(_count_again(), again)

    def size(self) -> tuple[int, int]:
        """Give the number of rows, and of the records that they stand for."""
        query = sa.select(sa.func.count(), sa.func.coalesce(sa.func.sum(quarantine.c.count), 0))
        with self._database.read() as connection:
            rows, records = connection.execute(query).one()
        return int(rows), int(records)

    def forget(self, before: int) -> int:
        """Drop the rows that came last before a time in µs, some at a time; give their number."""
        old = sa.select(quarantine.c.id).where(quarantine.c.last_received < before).limit(_MANY)
        gone = 0
        while True:
            with self._database.write() as connection:
                numbers = list(connection.scalars(old))
                connection.execute(sa.delete(quarantine).where(quarantine.c.id.in_(numbers)))
            gone += len(numbers)
            if len(numbers) < _MANY:
                return gone

    def page(
        self, limit: int, after: Key | None = None, outcome: str | None = None
    ) -> Page[QuarantineRow]:
        """List rows, the newest first."""
        query = sa.select(quarantine).order_by(quarantine.c.id.desc()).limit(limit + 1)
        if after is not None:
            query = query.where(quarantine.c.id < after[0])
        if outcome is not None:
            query = query.where(quarantine.c.outcome == outcome)
        with self._database.read() as connection:
            found = connection.execute(query).all()
        return cut([_row(r) for r in found], [(r.id,) for r in found], limit)

    def reasons(self, since: int, limit: int) -> list[RefusalReason]:
        """Gather what came since a time (µs) by topic and reason, the latest first."""
        column = quarantine.c
        detail = sa.case((column.outcome.in_(_BY_DETAIL), column.detail), else_="")
        latest = sa.func.max(column.last_received)
        query = (
            sa.select(
                sa.func.max(column.id),
                sa.func.count(),
                sa.func.sum(column.count),
                sa.func.min(column.received),
                latest,
            )
            .where(column.last_received >= since)
            .group_by(column.outcome, column.topic, detail)
            .order_by(latest.desc(), sa.func.max(column.id).desc())
            .limit(limit)
        )
        with self._database.read() as connection:
            groups = [tuple(row) for row in connection.execute(query)]
            newest = sa.select(quarantine).where(column.id.in_([group[0] for group in groups]))
            rows = {row.id: row for row in map(_row, connection.execute(newest))}
        return [
            RefusalReason(rows[name], int(n), int(count), first, last)
            for name, n, count, first, last in groups
        ]


def _fingerprint(refused: Refused) -> bytes:
    digest = hashlib.sha256()
    for part in (refused.topic, refused.outcome, repr(refused.record)):
        digest.update(hashlib.sha256(part.encode(errors="surrogatepass")).digest())
    digest.update(refused.payload_sha256)
    return digest.digest()


def _known(connection: Connection, keys: list[bytes]) -> set[bytes]:
    known: set[bytes] = set()
    for i in range(0, len(keys), _MANY):
        part = quarantine.c.fingerprint.in_(keys[i : i + _MANY])
        query = sa.select(quarantine.c.fingerprint).where(part)
        known.update(bytes(key) for key in connection.scalars(query))
    return known


def _values(key: bytes, same: list[Refused]) -> dict[str, object]:
    first = same[0]
    times = [r.received for r in same]
    return {
        "fingerprint": key,
        "topic": storable(first.topic),
        "payload": first.payload[:PAYLOAD_CAP],
        "payload_sha256": first.payload_sha256,
        "received": min(times),
        "last_received": max(times),
        "count": len(same),
        "outcome": first.outcome,
        "detail": storable(first.detail),
        "remedy": storable(first.remedy),
        "record": first.record,
    }


def _count_again() -> sa.Update:
    latest = sa.bindparam("latest", type_=sa.BigInteger)
    newer = sa.case((quarantine.c.last_received < latest, latest), else_=quarantine.c.last_received)
    return (
        sa.update(quarantine)
        .where(quarantine.c.fingerprint == sa.bindparam("key", type_=sa.LargeBinary))
        .values(count=quarantine.c.count + sa.bindparam("more"), last_received=newer)
    )


def _row(row: sa.Row[tuple[object, ...]]) -> QuarantineRow:
    data = row._mapping  # noqa: SLF001
    refused = Refused(
        data["topic"],
        bytes(data["payload"]),
        bytes(data["payload_sha256"]),
        data["received"],
        data["outcome"],
        data["detail"],
        data["remedy"],
        data["record"],
    )
    return QuarantineRow(data["id"], refused, data["count"], data["last_received"])
