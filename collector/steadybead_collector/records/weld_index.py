"""The search index of weld records: one row a record, as it stands now.

It is written in the transaction of the event, amendment or verdict that changes it, and can be
rebuilt from them. Job, seam and welder are kept folded, so that capitals and blanks do not matter.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import weld_query
from steadybead_collector.records.paging import Key
from steadybead_collector.records.rows import storable
from steadybead_collector.records.schema import weld_event, weld_index, weld_verdict
from steadybead_domain.ids import StationId
from steadybead_domain.welds import Weld

_BATCH = 500
NOT_JUDGED = ""
KINDS: Final = {
    ("nozzle_temperature", "below"): "c",
    ("nozzle_temperature", "above"): "h",
    ("air_flow", "below"): "l",
    ("air_flow", "above"): "m",
}
"""A letter for each kind of excursion, by quantity and side."""
_UNJUDGED: Final = {"verdict": NOT_JUDGED, "excursions": 0, "kinds": ""}


@dataclass(frozen=True, slots=True)
class WeldSearch:
    """What a search asks for; None asks nothing. `began` is [start, end) on the record's start.

    `verdict` is the word of the newest verdict, empty for records that have none yet;
    `excursion_kind` is a letter of `KINDS`.
    """

    station: StationId | None = None
    gun: str | None = None
    is_open: bool | None = None
    began_from: int | None = None
    began_before: int | None = None
    id_prefix: str | None = None
    procedure: str | None = None
    job: str | None = None
    seam: str | None = None
    welder: str | None = None
    verdict: str | None = None
    has_excursion: bool | None = None
    excursion_kind: str | None = None
    stopped_before: int | None = None


def folded(text: str | None) -> str:
    """Write a job, seam or name as it is searched for."""
    return storable(" ".join((text or "").split()).casefold())


def refresh(connection: Connection, weld: str) -> None:
    """Write a record's row anew; its verdict stays where times and procedure are the same."""
    found = weld_query.one(connection, weld)
    if found is None:
        return
    values = _values(found)
    mine = weld_index.c.weld == weld
    row = connection.execute(sa.select(weld_index).where(mine)).first()
    if row is None:
        seq = weld_query.number_of_start(connection, weld)
        connection.execute(sa.insert(weld_index).values(weld=weld, seq=seq, **_UNJUDGED, **values))
        return
    if any(getattr(row, name) != values[name] for name in ("start", "stop", "procedure")):
        values |= _UNJUDGED
    connection.execute(sa.update(weld_index).where(mine).values(**values))


def judge(
    connection: Connection, weld: str, word: str, excursions: int, content: Mapping[str, Any]
) -> None:
    """Write a verdict's word into a record's row, with the kinds of its excursions."""
    mine = weld_index.c.weld == weld
    found = {(e["quantity"], e["side"]) for e in content.get("excursions", ())}
    kinds = "".join(letter for key, letter in KINDS.items() if key in found)
    values = {"verdict": word, "excursions": excursions, "kinds": kinds}
    connection.execute(sa.update(weld_index).where(mine).values(**values))


def rebuild(connection: Connection) -> int:
    """Add the rows of records that have none; give their number."""
    known = sa.select(weld_index.c.weld)
    query = sa.select(weld_event.c.weld).where(
        weld_query.beginnings(), weld_event.c.weld.not_in(known)
    )
    missing = list(connection.scalars(query))
    for first in range(0, len(missing), _BATCH):
        for weld in missing[first : first + _BATCH]:
            refresh(connection, weld)
            _judge_again(connection, weld)
    return len(missing)


def is_complete(connection: Connection) -> bool:
    """Tell whether every record has its row."""
    begun = sa.select(sa.func.count()).select_from(weld_event).where(weld_query.beginnings())
    rows = sa.select(sa.func.count()).select_from(weld_index)
    return connection.scalar(begun) == connection.scalar(rows)


def page(
    connection: Connection, search: WeldSearch, limit: int, after: Key | None
) -> list[tuple[str, int, int]]:
    """Find at most `limit` records, the latest start first: id, start and number."""
    columns = weld_index.c
    query = sa.select(columns.weld, columns.start, columns.seq).where(
        *_conditions(search), *_beyond(after)
    )
    query = query.order_by(columns.start.desc(), columns.seq.desc()).limit(limit)
    return [(r.weld, r.start, r.seq) for r in connection.execute(query)]


def verdicts(connection: Connection, welds: list[str]) -> dict[str, tuple[str, int]]:
    """Give word and number of excursions by record; without a verdict the word is empty."""
    columns = weld_index.c
    query = sa.select(columns.weld, columns.verdict, columns.excursions)
    found = connection.execute(query.where(columns.weld.in_(welds)))
    return {r.weld: (r.verdict, r.excursions) for r in found}


def counts(connection: Connection, began_from: int, began_before: int) -> dict[str, int]:
    """Count finished records that began in [from, before), by the word of their verdict."""
    columns = weld_index.c
    query = (
        sa.select(columns.verdict, sa.func.count())
        .where(columns.start >= began_from, columns.start < began_before, columns.stop.is_not(None))
        .group_by(columns.verdict)
    )
    return {word: int(n) for word, n in connection.execute(query)}


def _judge_again(connection: Connection, weld: str) -> None:
    table = weld_verdict.c
    newest = sa.select(table.word, table.excursions, table.content).where(table.weld == weld)
    row = connection.execute(newest.order_by(table.id.desc()).limit(1)).first()
    if row is not None:
        judge(connection, weld, row.word, row.excursions, row.content)


def _values(weld: Weld) -> dict[str, Any]:
    return {
        "site": weld.station.site,
        "station": weld.station.station,
        "gun": weld.gun,
        "start": weld.start,
        "stop": weld.stop,
        "procedure": weld.procedure,
        "job": folded(weld.job),
        "seam": folded(weld.seam),
        "welder": folded(weld.welder),
    }


def _conditions(search: WeldSearch) -> list[sa.ColumnElement[bool]]:
    own = weld_index.c
    wanted = [
        own[name] == value
        for name in ("gun", "procedure", "verdict")
        if (value := getattr(search, name)) is not None
    ]
    wanted += [
        own[name] == folded(value)
        for name in ("job", "seam", "welder")
        if (value := getattr(search, name)) is not None
    ]
    if search.station is not None:
        wanted += [own.site == search.station.site, own.station == search.station.station]
    if search.id_prefix is not None:
        wanted.append(own.weld.startswith(search.id_prefix, autoescape=True))
    if search.is_open is not None:
        wanted.append(own.stop.is_(None) if search.is_open else own.stop.is_not(None))
    if search.has_excursion is not None:
        wanted.append(own.excursions > 0 if search.has_excursion else own.excursions == 0)
    if search.excursion_kind is not None:
        wanted.append(own.kinds.contains(search.excursion_kind, autoescape=True))
    return [*wanted, *_in_time(search)]


def _in_time(search: WeldSearch) -> list[sa.ColumnElement[bool]]:
    wanted: list[sa.ColumnElement[bool]] = []
    if search.began_from is not None:
        wanted.append(weld_index.c.start >= search.began_from)
    if search.began_before is not None:
        wanted.append(weld_index.c.start < search.began_before)
    if search.stopped_before is not None:
        wanted.append(weld_index.c.stop < search.stopped_before)
    return wanted


def _beyond(after: Key | None) -> list[sa.ColumnElement[bool]]:
    if after is None:
        return []
    start, seq = after
    same = sa.and_(weld_index.c.start == start, weld_index.c.seq < seq)
    return [sa.or_(weld_index.c.start < start, same)]
