"""What readers ask of the server: readings in pages, newest readings, rollups."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from steadybead_collector.stores.influx import lines
from steadybead_collector.stores.influx.server import Series, Server
from steadybead_collector.stores.summary import Summary
from steadybead_collector.stores.windows import PART_READINGS, WINDOW
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns, Float64, Int64, Reading
from steadybead_domain.times import DAY, HOUR

SPANS = {"1d": DAY, "1h": HOUR, "10m": WINDOW}
_ALL = '"value","raw","q","r","p","z"'
_BY_CHANNEL = 'GROUP BY "site","station","channel"'
_ASKED_AGAIN = 5
_PAGE = PART_READINGS // 2


@dataclass(frozen=True, slots=True)
class Rollup:
    """One span of a channel: `part` is None where it is stale and the readings must be asked."""

    number: int
    state: int
    part: Summary | None


def pages(server: Server, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
    """Walk the readings of a channel in ascending time, a page at once."""
    while start < end:
        found = server.ask(
            f'SELECT {_ALL} FROM "{lines.READING}" WHERE {lines.where(channel)}'
            f" AND {lines.between(start, end)} LIMIT {_PAGE}"
        )
        if not found:
            return
        rows = lines.columns_of(found[0])
        if len(rows):
            yield rows
        if len(found[0]) < _PAGE:
            return
        start = int(lines.times_of(found[0])[-1]) + 1


def taken(server: Server, channel: ChannelId, start: int, end: int) -> tuple[Int64, Float64]:
    """Give times and raw samples of what is stored in [start, end)."""
    found = list(pages(server, channel, start, end))
    if not found:
        return np.empty(0, np.int64), np.empty(0, np.float64)
    return np.concatenate([p.time for p in found]), np.concatenate([p.raw for p in found])


def stored_by(server: Server, channel: ChannelId, start: int, end: int, position: int) -> Int64:
    """Give the times in [start, end) that one append has stored."""
    found = server.ask(
        f'SELECT "raw" FROM "{lines.READING}" WHERE {lines.where(channel)}'
        f' AND {lines.between(start, end)} AND "seq" = {position}'
    )
    return lines.times_of(found[0]) if found else np.empty(0, np.int64)


def newest(server: Server, place: str = "") -> Iterator[tuple[ChannelId, Reading]]:
    """Walk the newest reading of every channel, of those that `place` picks."""
    question = (
        f'SELECT last("raw") AS "raw","value","q","r","p","z" FROM "{lines.READING}"'
        f" {_where(place)} {_BY_CHANNEL}"
    )
    for _ in range(_ASKED_AGAIN):
        found = [(lines.channel_of(s), lines.columns_of(s)) for s in server.ask(question)]
        if all(len(rows) for _, rows in found):
            break  # else one is being written just now
    for channel, rows in found:
        if len(rows):
            yield channel, rows.row(0)


def rollups(
    server: Server, channel: ChannelId, span: str, first: int, last: int
) -> Iterator[Rollup]:
    """Walk the rollups of a channel from span number `first` to `last`, in ascending order.

    A span that has a reading has a rollup, be it a stale one; one of no reading is left out.
    """
    length = SPANS[span]
    most = lines.TIME_LIMIT // length + 1
    bounds = lines.between(max(first, -most) * length, (min(last, most) + 1) * length)
    found = server.ask(
        f'SELECT "state","count","n","low","high","total","worst" FROM "{lines.ROLLUP}"'
        f" WHERE {lines.where(channel)} AND \"span\" = '{span}' AND {bounds}"
    )
    for answered in found:
        series = answered.whole("state")
        states = series.columns["state"]
        numbers = (lines.times_of(series) // length).tolist()
        for i, (number, state) in enumerate(zip(numbers, states, strict=True)):
            part = None if state == lines.STALE else lines.summary_of(series.columns, i)
            if part is None or part.count:
                yield Rollup(number, state, part)


def stale_windows(server: Server, place: str = "") -> Iterator[tuple[ChannelId, int]]:
    """Walk the windows whose rollup waits to be made."""
    state = f'"span" = \'10m\' AND "state" = {lines.STALE}'
    for series in _states(server, _and(place, state)):
        for start in lines.times_of(series).tolist():
            yield lines.channel_of(series), start // WINDOW


def last_forgotten(server: Server, place: str = "") -> Iterator[tuple[ChannelId, int]]:
    """Walk the end of the last forgotten window of every channel that has one."""
    state = f'"span" = \'10m\' AND "state" >= {lines.GOING}'
    for series in _states(server, _and(place, state)):
        yield lines.channel_of(series), int(lines.times_of(series)[-1]) + WINDOW


def appends_after(server: Server, position: int, limit: int) -> list[tuple[int, int, int, int]]:
    """Give (position, received, first time, last time) of the next appends, ascending."""
    found = server.ask(
        f'SELECT "received","first","last" FROM "{lines.APPEND}"'
        f" WHERE time > {min(position, lines.TIME_LIMIT) * lines.NS} LIMIT {limit}"
    )
    if not found:
        return []
    series = found[0].whole("received", "first", "last")
    rows = (series.columns["received"], series.columns["first"], series.columns["last"])
    return list(zip(lines.times_of(series).tolist(), *rows, strict=True))


def appended(
    server: Server, bounds: tuple[int, int], positions: tuple[int, int], place: str = ""
) -> Iterator[tuple[ChannelId, Columns, Int64]]:
    """Walk what appends of `positions` (first, last) brought in [start, end): with each position.

    Channel by channel, in ascending time.
    """
    low, high = positions
    asked = f'{lines.between(*bounds)} AND "seq" >= {low} AND "seq" <= {high}'
    found = server.ask(
        f'SELECT {_ALL},"seq" FROM "{lines.READING}" {_where(_and(place, asked))} {_BY_CHANNEL}'
    )
    for series in found:
        rows = series.whole("value", "raw", "q", "r", "p", "seq")
        seq = np.array(rows.columns["seq"], np.int64)
        yield lines.channel_of(rows), lines.columns_of(rows), seq


def producers(server: Server) -> Iterator[tuple[str, int, int]]:
    """Walk producer, position and what it released."""
    found = server.ask(f'SELECT "position","released" FROM "{lines.PRODUCER}" GROUP BY "producer"')
    for series in found:
        columns = series.whole("position", "released").columns
        if columns["time"]:
            yield series.tags["producer"], columns["position"][-1], columns["released"][-1]


def last_append(server: Server) -> int:
    """Give the position of the last append of any producer; 0 if there is none."""
    found = server.ask(f'SELECT last("n") FROM "{lines.APPEND}" GROUP BY "producer"')
    return max((int(lines.times_of(series)[-1]) for series in found), default=0)


def at_stations(stations: Iterable[str], site: str) -> str:
    """Write the condition that picks some stations of a site."""
    names = " OR ".join(f"\"station\" = '{name}'" for name in stations)
    return f"\"site\" = '{site}' AND ({names})" if names else ""


def _states(server: Server, condition: str) -> list[Series]:
    return server.ask(f'SELECT "state" FROM "{lines.ROLLUP}" {_where(condition)} {_BY_CHANNEL}')


def _where(condition: str) -> str:
    return f"WHERE {condition}" if condition else ""


def _and(*conditions: str) -> str:
    return " AND ".join(condition for condition in conditions if condition)
