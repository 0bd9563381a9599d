"""Weld records read back from their events, without folding all of history."""

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from steadybead_collector.records import rows
from steadybead_collector.records.schema import weld_amendment, weld_event
from steadybead_domain.ids import StationId
from steadybead_domain.weld_amendments import Amendment, amended
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind, fold

_STARTS = weld_event.alias("starts")
_STOPS = weld_event.alias("stops")
_LATER = weld_event.alias("later")
_FOLLOWING = weld_event.alias("following")
_BEGINNINGS = (WeldEventKind.START.value, WeldEventKind.LATE.value)


def one(connection: Connection, weld: str) -> Weld | None:
    """Find a record by its id, as amended."""
    found = some(connection, [weld])
    return found[0] if found else None


def some(connection: Connection, welds: Sequence[str]) -> list[Weld]:
    """Give records in the order of their ids' list, as amended; unknown ids are left out."""
    query = _selected().where(_STARTS.c.weld.in_(welds))
    told = {row.weld: _weld(row) for row in connection.execute(query)}
    corrected = _amendments(connection, welds)
    return [amended(told[name], corrected.get(name, ())) for name in welds if name in told]


def newest_on(connection: Connection, station: StationId, gun: str) -> str | None:
    """Find the record that was started last on a gun; only it can be running."""
    query = (
        sa.select(weld_event.c.weld)
        .where(
            weld_event.c.site == station.site,
            weld_event.c.station == station.station,
            weld_event.c.gun == gun,
            weld_event.c.kind == WeldEventKind.START,
        )
        .order_by(weld_event.c.seq.desc())
        .limit(1)
    )
    found: str | None = connection.scalar(query)
    return found


def is_news(connection: Connection, event: WeldEvent) -> bool:
    """Tell whether an event says something new: see `WeldRecords.add`."""
    query = sa.select(weld_event).where(weld_event.c.weld == event.weld)
    known = [rows.weld_event(row) for row in connection.execute(query)]
    if event.kind is not WeldEventKind.STOP:
        return not known
    started = len(known) == 1 and known[0].kind is WeldEventKind.START
    return started and (known[0].station, known[0].gun) == (event.station, event.gun)


def number_of_start(connection: Connection, weld: str) -> int:
    """Give the change number of a record's start."""
    query = sa.select(sa.func.min(weld_event.c.seq)).where(weld_event.c.weld == weld)
    return int(connection.scalar(query) or 0)


def amendments_of(connection: Connection, weld: str) -> list[Amendment]:
    """Give the amendments of a record, the first one first."""
    return _amendments(connection, [weld]).get(weld, [])


def beginnings() -> sa.ColumnElement[bool]:
    """Pick the events with which records begin."""
    return weld_event.c.kind.in_(_BEGINNINGS)


def _amendments(connection: Connection, welds: Sequence[str]) -> dict[str, list[Amendment]]:
    table = weld_amendment.c
    query = sa.select(weld_amendment).where(table.weld.in_(welds)).order_by(table.number)
    found: dict[str, list[Amendment]] = {}
    for row in connection.execute(query):
        item = Amendment(
            row.weld, row.number, row.time, row.author, row.via, row.reason, row.changes,
            row.before, row.entry, row.acted,
        )  # fmt: skip
        found.setdefault(row.weld, []).append(item)
    return found


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
    return sa.select(*columns).select_from(joined).where(_STARTS.c.kind.in_(_BEGINNINGS))


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
