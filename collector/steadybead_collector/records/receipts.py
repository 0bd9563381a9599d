"""First receipts of messages that carry no time of their own.

A broker uses its 65,535 message ids over and over, so only the newest receipts can be asked for
again; older rows go.
"""

from collections.abc import Sequence
from dataclasses import replace

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records.database import Database
from steadybead_collector.records.schema import receipt
from steadybead_domain.ports import Receipt

KEPT = 200_000  # forty times what a broker leaves unacknowledged
_FORGET_AFTER = 10_000
_MANY = 400

Key = tuple[int, str, bytes]


class Receipts:
    """The receipts that a redelivery could still ask for."""

    def __init__(self, database: Database, kept: int = KEPT) -> None:
        self._database = database
        self._kept = kept
        self._unforgotten = _FORGET_AFTER

    def remember(self, wanted: Sequence[Receipt]) -> list[Receipt]:
        """Keep receipts durably; where one is known, give the first one in its place."""
        if not wanted:
            return []
        with self._database.write() as connection:
            known = _known(connection, {r.message_id for r in wanted})
            stale: dict[Key, None] = {}
            fresh: dict[Key, Receipt] = {}
            answer: list[Receipt] = []
            for want in wanted:
                key = _key(want)
                if want.fresh and key in known:
                    stale[key] = None
                if want.fresh or key not in known:
                    known[key] = fresh[key] = replace(want, fresh=False)
                answer.append(known[key])
            _drop(connection, list(stale))
            if fresh:
                connection.execute(sa.insert(receipt), [_values(r) for r in fresh.values()])
            self._forget(connection, len(fresh))
        return answer

    def _forget(self, connection: Connection, added: int) -> None:
        self._unforgotten += added
        if self._unforgotten >= _FORGET_AFTER:
            newest = connection.scalar(sa.select(sa.func.max(receipt.c.id))) or 0
            connection.execute(sa.delete(receipt).where(receipt.c.id <= newest - self._kept))
            self._unforgotten = 0


def _known(connection: Connection, ids: set[int]) -> dict[Key, Receipt]:
    known: dict[Key, Receipt] = {}
    numbers = sorted(ids)
    for i in range(0, len(numbers), _MANY):
        part = receipt.c.message_id.in_(numbers[i : i + _MANY])
        for row in connection.execute(sa.select(receipt).where(part)):
            first = Receipt(row.message_id, row.topic, bytes(row.payload_sha256), row.time)
            known[_key(first)] = first
    return known


def _drop(connection: Connection, keys: list[Key]) -> None:
    if not keys:
        return
    rows = [{"m": message, "t": topic, "p": payload} for message, topic, payload in keys]
    same = sa.and_(
        receipt.c.message_id == sa.bindparam("m"),
        receipt.c.topic == sa.bindparam("t"),
        receipt.c.payload_sha256 == sa.bindparam("p"),
    )
    connection.execute(sa.delete(receipt).where(same), rows)


def _key(item: Receipt) -> Key:
    return (item.message_id, item.topic, item.payload_sha256)


def _values(item: Receipt) -> dict[str, object]:
    return {
        "message_id": item.message_id,
        "topic": item.topic,
        "payload_sha256": item.payload_sha256,
        "time": item.time,
    }
