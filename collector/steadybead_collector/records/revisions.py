"""Records that are never overwritten: each change is a further revision of the same id."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import audit, changes
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_domain.calibration.validation import Problem
from steadybead_domain.people import Actor

_OF_THE_ACT = ("author", "entered", "revision")


class NotKeptError(Exception):
    """The record has mistakes; nothing was stored. `problems` list all of them."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("; ".join(f"{p.field}: {p.text}" for p in problems))
        self.problems = tuple(problems)


class TakenError(Exception):
    """Another record, or another revision, stands there already; the message is the remedy."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A revision to keep: its id and number, what it is of, when that was, and its content."""

    id: str
    revision: int
    about: str
    at: int
    content: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Act:
    """Who enters it, when, and by which way."""

    by: Actor
    now: int
    via: str


def keep(
    connection: Connection,
    table: sa.Table,
    entry: Entry,
    act: Act,
    problems: Callable[[], Sequence[Problem]],
) -> tuple[dict[str, Any], bool]:
    """Keep a revision inside `Database.write`; give its content, and whether it is new.

    The same revision told again changes nothing. Raises TakenError or NotKeptError.
    """
    known = _known(connection, table, entry.id)
    if entry.revision in known:
        if _figures(known[entry.revision]) == _figures(entry.content):
            return known[entry.revision], False
        raise TakenError(
            f"{_word(table)} {entry.id} stands there already with other figures:"
            f" give another id, or revision {max(known) + 1} to correct it"
        )
    following = max(known, default=0) + 1
    if entry.revision != following:
        raise TakenError(f"the next revision of {_word(table)} {entry.id} is {following}")
    found = problems()
    if found:
        raise NotKeptError(found)
    _insert(connection, table, entry, act)
    return entry.content, True


def newest(
    connection: Connection, table: sa.Table, *conditions: sa.ColumnElement[bool]
) -> list[dict[str, Any]]:
    """Give the content of the newest revision of each record, by time."""
    query = sa.select(table.c.content).where(_is_newest(table), *conditions)
    return list(connection.scalars(query.order_by(table.c.at, table.c.seq)))


def every(
    connection: Connection, table: sa.Table, *conditions: sa.ColumnElement[bool]
) -> list[dict[str, Any]]:
    """Give the content of every revision, in the order in which they were entered."""
    query = sa.select(table.c.content).where(*conditions).order_by(table.c.seq)
    return list(connection.scalars(query))


def page(
    connection: Connection,
    table: sa.Table,
    limit: int,
    after: Key | None,
    *conditions: sa.ColumnElement[bool],
) -> Page[dict[str, Any]]:
    """List the newest revision of each record, the latest time first."""
    query = sa.select(table.c.content, table.c.at, table.c.seq).where(
        _is_newest(table), *conditions
    )
    if after is not None:
        same = sa.and_(table.c.at == after[0], table.c.seq < after[1])
        query = query.where(sa.or_(table.c.at < after[0], same))
    query = query.order_by(table.c.at.desc(), table.c.seq.desc()).limit(limit + 1)
    found = connection.execute(query).all()
    return cut([r.content for r in found], [(r.at, r.seq) for r in found], limit)


def _is_newest(table: sa.Table) -> sa.ColumnElement[bool]:
    later = table.alias()
    same = sa.and_(later.c.id == table.c.id, later.c.revision > table.c.revision)
    return sa.not_(sa.exists(sa.select(later.c.seq).where(same)))


def _known(connection: Connection, table: sa.Table, record: str) -> dict[int, dict[str, Any]]:
    query = sa.select(table.c.revision, table.c.content).where(table.c.id == record)
    return {row.revision: row.content for row in connection.execute(query)}


def _figures(content: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in content.items() if name not in _OF_THE_ACT}


def _insert(connection: Connection, table: sa.Table, entry: Entry, act: Act) -> None:
    values = {
        "seq": changes.next_number(connection, _word(table)),
        "id": entry.id,
        "revision": entry.revision,
        "about": entry.about,
        "at": entry.at,
        "author": act.by.name,
        "time": act.now,
        "content": entry.content,
    }
    connection.execute(sa.insert(table).values(**values))
    audit.note(
        connection,
        act.now,
        act.by,
        act.via,
        _word(table),
        subject=entry.id,
        revision=entry.revision,
    )


def _word(table: sa.Table) -> str:
    return table.name.replace("_", " ")
