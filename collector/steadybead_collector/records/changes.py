"""The change sequence: one number for each human act, weld event and revision of a record.

Numbers are handed out inside the one writing transaction, as the highest plus one. So they are
visible in ascending order and without holes: whoever has seen n has seen everything up to n.
An autoincrement column would not do: on a server a later number can be committed first.
"""

from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import rows, schema
from steadybead_domain.ports import Change

AT_MOST = 5_000


def next_number(connection: Connection, kind: str) -> int:
    """Take the next number; only inside `Database.write`."""
    highest = connection.scalar(sa.select(sa.func.max(schema.change.c.seq)))
    number = int(highest or 0) + 1
    connection.execute(sa.insert(schema.change).values(seq=number, kind=kind))
    return number


def changes_since(connection: Connection, position: int, at_most: int) -> tuple[int, list[Change]]:
    """Give at most `at_most` changes after `position` in order, and the position they reach."""
    page = sa.select(schema.change.c.seq).where(schema.change.c.seq > position)
    numbers = connection.scalars(page.order_by(schema.change.c.seq).limit(at_most)).all()
    if not numbers:
        return position, []
    upto = numbers[-1]
    found: dict[int, Change] = {}
    for table, build in _BUILDERS:
        for row in connection.execute(_between(table, position, upto)):
            found[row.seq] = build(row)
    return upto, [found[number] for number in sorted(found)]


def _between(table: sa.Table, position: int, upto: int) -> sa.Select[Any]:
    return sa.select(table).where(table.c.seq > position, table.c.seq <= upto)


_BUILDERS = (
    (schema.weld_event, rows.weld_event),
    (schema.alarm_act, rows.alarm_act),
    (schema.procedure, rows.procedure),
    (schema.filter_change, rows.filter_change),
    (schema.reference_check, rows.reference_check),
    (schema.fitting, rows.fitting),
)
