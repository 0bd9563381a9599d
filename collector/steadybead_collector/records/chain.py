"""The chain of the audit trail: each entry holds the hash of the one before it.

An entry's hash is SHA-256 over its members `actor, detail, id, previous, subject, time, via, what`
as JSON: keys in their order, no blanks, all beyond ASCII escaped; `previous` in hexadecimal
digits, null for the first.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection, RowMapping

MARK: Final = "trail chained"
_MEMBERS: Final = ("id", "time", "actor", "via", "what", "subject", "detail")


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry of a trail: its number, which counts from 1, and its hash."""

    entry: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Walked:
    """A trail that was walked from its first entry.

    `fault` is empty or names the first entry that does not fit. `earlier` is the number of the
    last entry that had been written before there was a chain, `chained` the time of the mark in
    µs; both None if there was a chain from the start. `heads` are those asked for that are in it.
    """

    head: Head | None
    fault: str
    earlier: int | None
    chained: int | None
    heads: frozenset[Head]


def entry_hash(members: RowMapping | Mapping[str, Any], previous: bytes | None) -> bytes:
    """Hash one entry; `members` are the columns of its row."""
    told = {name: members[name] for name in _MEMBERS}
    told["previous"] = None if previous is None else previous.hex()
    return hashlib.sha256(json.dumps(told, sort_keys=True, separators=(",", ":")).encode()).digest()


def append(connection: Connection, table: sa.Table, values: Mapping[str, Any]) -> None:
    """Add an entry behind the newest; the caller holds the one writing transaction."""
    newest = sa.select(table.c.id, table.c.sha256).order_by(table.c.id.desc()).limit(1)
    last = connection.execute(newest).first()
    row = {**values, "id": 1 if last is None else last.id + 1}
    row["detail"] = json.loads(json.dumps(row["detail"]))  # as it will be read back
    row["previous"] = None if last is None else bytes(last.sha256)
    row["sha256"] = entry_hash(row, row["previous"])
    connection.execute(sa.insert(table).values(row))


def walk(rows: Iterable[RowMapping], wanted: Iterable[Head]) -> Walked:
    """Hash all rows of a trail again, in order; look for heads that were told at other times."""
    asked, found = set(wanted), set[Head]()
    fault, previous, last = "", None, 0
    earlier = chained = None
    for row in rows:
        fault = fault or _fault(row, last, previous)
        last, previous = int(row["id"]), bytes(row["sha256"])
        here = Head(last, previous.hex())
        if here in asked and not fault:
            found.add(here)
        if row["what"] == MARK:
            earlier, chained = row["detail"].get("earlier"), row["time"]
    head = None if previous is None else Head(last, previous.hex())
    return Walked(head, fault, earlier, chained, frozenset(found))


def _fault(row: RowMapping, last: int, previous: bytes | None) -> str:
    """Say what is wrong with an entry that follows `last`; empty if nothing is."""
    before = None if row["previous"] is None else bytes(row["previous"])
    if before != previous:
        after = f"entry {last}" if last else "the beginning"
        return f"entry {row['id']} does not follow {after}: one was taken out, put in or replaced"
    if entry_hash(row, before) != bytes(row["sha256"]):
        return f"entry {row['id']} is not what was written: it was changed"
    return ""
