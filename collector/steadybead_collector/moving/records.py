"""Copying all records from one database to another, in one transaction, checked by hash."""

import hashlib
from collections.abc import Callable, Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records.claims import station_claim
from steadybead_collector.records.database import Database
from steadybead_collector.records.schema import diagnosis_state, metadata
from steadybead_domain.ports import StoreError

_AT_ONCE = 500
_TABLES = [table for table in metadata.sorted_tables if table is not station_claim]


def least_seen(source: Database) -> int:
    """Give the least journal position that a saved diagnosis has seen; 0 if there is none."""
    with source.read() as connection:
        return int(connection.scalar(sa.select(sa.func.min(diagnosis_state.c.position))) or 0)


def copy_records(
    source: Database, target: Database, positions: Callable[[int], int]
) -> tuple[int, str]:
    """Copy every row, diagnosis states with their new positions; give count and SHA-256.

    All or nothing: raises StoreError if the target is not empty, or does not read back the same.
    """
    with source.read() as old, target.write() as new:
        _must_be_empty(new)
        count = 0
        for table in _TABLES:
            for rows in _parts(old, table):
                if table is diagnosis_state:
                    rows = [row | {"position": positions(row["position"])} for row in rows]  # noqa: PLW2901
                new.execute(sa.insert(table), rows)
                count += len(rows)
            _go_on_counting(new, table)
        told, found = digest(old), digest(new)
        if told != found:
            raise StoreError("the records do not read back the same: nothing was kept there")
    return count, found


def digest(connection: Connection) -> str:
    """Hash every row of every table but the positions of diagnosis states."""
    total = hashlib.sha256()
    for table in _TABLES:
        for rows in _parts(connection, table):
            for row in rows:
                if table is diagnosis_state:
                    row.pop("position")
                total.update(repr((table.name, sorted(row.items()))).encode())
    return total.hexdigest()


def _parts(connection: Connection, table: sa.Table) -> Iterator[list[dict[str, Any]]]:
    query = sa.select(table).order_by(*table.primary_key.columns)
    for rows in connection.execute(query).mappings().partitions(_AT_ONCE):
        yield [dict(row) for row in rows]


def _must_be_empty(connection: Connection) -> None:
    for table in _TABLES:
        if connection.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first():
            raise StoreError(
                f"the target's records are not empty ({table.name}): move into a new database"
            )


def _go_on_counting(connection: Connection, table: sa.Table) -> None:
    """Let PostgreSQL number new rows after those that were copied."""
    number = table.autoincrement_column
    if connection.dialect.name != "postgresql" or number is None or number.name != "id":
        return
    sequence = sa.func.pg_get_serial_sequence(f'"{table.name}"', "id")
    last = sa.select(sa.func.coalesce(sa.func.max(number), 0) + 1).scalar_subquery()
    connection.execute(sa.select(sa.func.setval(sequence, last, False)))
