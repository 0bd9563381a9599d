"""Weld records, read back from their events without folding all of history."""

from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import audit, changes, rows
from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page, cut
from steadybead_collector.records.schema import weld_event
from steadybead_domain.ids import StationId
from steadybead_domain.people import Actor
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind, fold

_STARTS = weld_event.alias("starts")
_STOPS = weld_event.alias("stops")
_LATER = weld_event.alias("later")
_FOLLOWING = weld_event.alias("following")


@dataclass(frozen=True, slots=True)
class WeldSearch:
    """What a search asks for; None asks nothing. `began` is [start, end) on the record's start."""

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


class WeldRecords:
    """Events in, records out; the same records as the kernel's `fold` of all events."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, event: WeldEvent, by: Actor | None = None) -> bool:
        """Keep the event; with `by`, also in the audit trail.

        False, and nothing kept, if it repeats one, if a stop names no record that was started, or
        if it names a record of another gun.
        """
        with self._database.write() as connection:
            if not _is_news(connection, event):
                return False
            number = changes.next_number(connection, "weld")
            values = rows.weld_event_values(event)
            connection.execute(sa.insert(weld_event).values(seq=number, **values))
            if by is not None:
                what = f"weld {event.kind.value}"
                audit.note(connection, event.time, by, event.via, what, subject=event.weld)
            return True

    def get(self, weld: str) -> Weld | None:
        """Find a record by its id."""
        with self._database.read() as connection:
            return _one(connection, sa.and_(_STARTS.c.weld == weld))

    def open_on(self, station: StationId, gun: str) -> Weld | None:
        """Find the record that runs on a gun; an older one never does."""
        place = sa.and_(
            _STARTS.c.site == station.site,
            _STARTS.c.station == station.station,
            _STARTS.c.gun == gun,
        )
        with self._database.read() as connection:
            newest = _one(connection, place)
        return newest if newest is not None and newest.stop is None else None

    def page(self, search: WeldSearch, limit: int, after: Key | None = None) -> Page[Weld]:
        """List records, the latest start first."""
        query = _selected().where(*_conditions(search), *_beyond(after))
        query = query.order_by(_STARTS.c.time.desc(), _STARTS.c.seq.desc()).limit(limit + 1)
        with self._database.read() as connection:
            if search.is_open:  # only a gun's newest record can be open: a short list
                query = query.where(_STARTS.c.seq.in_(_newest_of_each_gun(connection)))
            found = connection.execute(query).all()
        return cut([_weld(row) for row in found], [(r.time, r.seq) for r in found], limit)

    def events(self, weld: str) -> list[WeldEvent]:
        """Give the events of one record as they were told."""
        query = sa.select(weld_event).where(weld_event.c.weld == weld).order_by(weld_event.c.seq)
        with self._database.read() as connection:
            return [rows.weld_event(row) for row in connection.execute(query)]


def _is_news(connection: Connection, event: WeldEvent) -> bool:
    query = sa.select(weld_event).where(weld_event.c.weld == event.weld)
    known = [rows.weld_event(row) for row in connection.execute(query)]
    if event.kind is WeldEventKind.START:
        return not known
    place = (event.station, event.gun)
    return len(known) == 1 and (known[0].station, known[0].gun) == place


def _next_start() -> sa.ScalarSelect[Any]:
    later = sa.select(sa.func.min(_LATER.c.seq)).where(
        _LATER.c.site == _STARTS.c.site,
        _LATER.c.station == _STARTS.c.station,
        _LATER.c.gun == _STARTS.c.gun,
        _LATER.c.kind == WeldEventKind.START,
        _LATER.c.seq > _STARTS.c.seq,
    )
    return later.correlate(_STARTS).scalar_subquery()


def _selected() -> sa.Select[Any]:
    """Each start with the event that ended its record: the first of its stop and a new start."""
    stops = sa.and_(_STOPS.c.weld == _STARTS.c.weld, _STOPS.c.kind == WeldEventKind.STOP)
    columns = [
        *_STARTS.c,
        *(c.label(f"stop_{c.name}") for c in _STOPS.c),
        *(c.label(f"next_{c.name}") for c in _FOLLOWING.c),
    ]
    joined = _STARTS.outerjoin(_STOPS, stops).outerjoin(
        _FOLLOWING, _FOLLOWING.c.seq == _next_start()
    )
    starts = _STARTS.c.kind == WeldEventKind.START
    return sa.select(*columns).select_from(joined).where(starts)


def _conditions(search: WeldSearch) -> list[sa.ColumnElement[bool]]:
    start = _STARTS.c
    wanted: list[sa.ColumnElement[bool]] = []
    if search.station is not None:
        wanted += [start.site == search.station.site, start.station == search.station.station]
    if search.began_from is not None:
        wanted.append(start.time >= search.began_from)
    if search.began_before is not None:
        wanted.append(start.time < search.began_before)
    if search.id_prefix is not None:
        wanted.append(start.weld.startswith(search.id_prefix, autoescape=True))
    if search.is_open is not None:
        is_open = sa.and_(_STOPS.c.seq.is_(None), _FOLLOWING.c.seq.is_(None))
        wanted.append(is_open if search.is_open else sa.not_(is_open))
    for name in ("gun", "procedure", "job", "seam", "welder"):
        if (value := getattr(search, name)) is not None:
            wanted.append(start[name] == value)
    return wanted


def _newest_of_each_gun(connection: Connection) -> list[int]:
    """Find the last start of each gun by leaping from gun to gun in the index of places."""
    table = weld_event.c
    place = sa.tuple_(table.site, table.station, table.gun)
    columns = sa.select(table.site, table.station, table.gun)
    first = columns.order_by(table.site, table.station, table.gun).limit(1)
    newest: list[int] = []
    row = connection.execute(first).first()
    while row is not None:
        here = sa.tuple_(*(sa.literal(name) for name in row))
        starts = sa.select(sa.func.max(table.seq)).where(
            table.site == row.site,
            table.station == row.station,
            table.gun == row.gun,
            table.kind == WeldEventKind.START,
        )
        newest.append(connection.scalar(starts) or 0)
        row = connection.execute(first.where(place > here)).first()
    return newest


def _beyond(after: Key | None) -> list[sa.ColumnElement[bool]]:
    if after is None:
        return []
    time, seq = after
    same = sa.and_(_STARTS.c.time == time, _STARTS.c.seq < seq)
    return [sa.or_(_STARTS.c.time < time, same)]


def _one(connection: Connection, wanted: sa.ColumnElement[bool]) -> Weld | None:
    query = _selected().where(wanted).order_by(_STARTS.c.seq.desc()).limit(1)
    row = connection.execute(query).first()
    return None if row is None else _weld(row)


def _weld(row: Any) -> Weld:
    events = [(row.seq, rows.weld_event(row))]
    events += [_named(row, prefix) for prefix in ("stop_", "next_") if _has(row, prefix)]
    ordered = [event for _, event in sorted(events, key=lambda pair: pair[0])]
    return fold(ordered)[row.weld]


def _has(row: Any, prefix: str) -> bool:
    return getattr(row, f"{prefix}seq") is not None


def _named(row: Any, prefix: str) -> tuple[int, WeldEvent]:
    values = {
        name.removeprefix(prefix): value
        for name, value in row._mapping.items()  # noqa: SLF001
        if name.startswith(prefix)
    }
    event = rows.weld_event(_Columns(values))
    return values["seq"], event


class _Columns:
    """Columns of a joined row under their own names."""

    def __init__(self, values: dict[str, Any]) -> None:
        self.__dict__.update(values)
