"""Site and stations of the plant file."""

import math
from typing import Any

from steadybead_collector.config.channels import check_guns, check_together, read_channel
from steadybead_collector.config.reader import Table, shown
from steadybead_domain.ids import BadNameError, StationId, checked_name
from steadybead_domain.plant import AirSource, AirSourceKind, Channel, Station
from steadybead_domain.quantities import Quantity

_KEYS = ("id", "name", "procedure", "weld_records", "channel", *AirSourceKind)
_RECORDS = ("told", "automatic")
_TELLING = (Quantity.IN_STAND, Quantity.GUN_MOTION)


def read_stations(root: Table, site: str) -> tuple[Station, ...]:
    """Read all `[[station]]` tables."""
    stations: list[Station] = []
    seen: set[str] = set()
    entries = _entries(root, "station", "no station", 'add [[station]] with id = "bay-1"')
    for index, data in enumerate(entries):
        table = Table(data, (*root.path, "station", index), f"station {index + 1}", root.notes)
        station = _read_station(table, site)
        if station.id.station in seen:
            name = station.id.station
            table.fault("id", f"station {name} stands twice", "give each station its own id")
        seen.add(station.id.station)
        stations.append(station)
    return tuple(stations)


def read_name(table: Table, key: str, what: str) -> str:
    """Read a required name; a wrong one is noted, and something harmless stands for it."""
    name = table.text(key, required=True)
    if name is None:
        return "-"
    try:
        return checked_name(name, what)
    except BadNameError:
        table.fault(key, f"bad {key} {shown(name)}", "use 1 to 64 of A-Z a-z 0-9 _ -")
        return "-"


def _read_station(table: Table, site: str) -> Station:
    table.only(_KEYS)
    name = read_name(table, "id", "station")
    table.where = f"station {name}" if name != "-" else table.where
    station_id = StationId(site, name)
    channels: list[tuple[Channel, Table]] = []
    guns: dict[str, list[Channel]] = {}
    remedy = "add [[station.channel]] with id, quantity and unit"
    complete = True
    for index, data in enumerate(_entries(table, "channel", "no channel", remedy)):
        path = (*table.path, "channel", index)
        inner = Table(data, path, f"{table.where} channel {index + 1}", table.notes)
        inner.where = f"{table.where} channel {inner.data.get('id', index + 1)}"[:160]
        channel = read_channel(inner, station_id)
        if channel is None:
            complete = False
            continue
        channels.append((channel, inner))
        if channel.gun is not None:
            guns.setdefault(channel.gun, []).append(channel)
    check_together(channels)
    if complete and channels:
        check_guns(guns, table)
    return Station(
        station_id,
        tuple(channel for channel, _ in channels),
        table.text("name") or "",
        table.text("procedure"),
        _air_source(table),
        _automatic(table, [channel for channel, _ in channels]),
    )


def _automatic(table: Table, channels: list[Channel]) -> bool:
    """Tell whether weld records begin by themselves; that takes a channel which tells."""
    word = table.text("weld_records") or _RECORDS[0]
    if word not in _RECORDS:
        fault = f"weld_records is {shown(word)}"
        table.fault("weld_records", fault, 'write "told" or "automatic"')
    elif word == "automatic" and not any(c.quantity in _TELLING for c in channels):
        remedy = 'add a channel in_stand or gun_motion, or write "told"'
        table.fault("weld_records", "no gun here can tell waiting from welding", remedy)
    return word == "automatic"


def _air_source(table: Table) -> AirSource:
    named = [kind for kind in AirSourceKind if table.has(kind)]
    if len(named) > 1:
        remedy = "one station has one air source; keep the one that feeds its guns"
        table.fault(named[1], f"both {named[0]} and {named[1]} are given", remedy)
    if not named:
        return AirSource()
    section = table.table(named[0], f"{table.where} {named[0]}")
    section.only(("intake_filter_limit_pa",))
    limit = section.number("intake_filter_limit_pa", above=0.0)
    return AirSource(named[0], None if math.isnan(limit) else limit)


def _entries(table: Table, key: str, message: str, remedy: str) -> list[Any]:
    entries = table.data.get(key)
    if isinstance(entries, list) and entries:
        return entries
    if isinstance(entries, dict):
        table.fault(key, f"[{key}] is written as one table", "double the brackets: [[…]]")
    else:
        table.fault(key, message, remedy)
    return []
