"""Read from a plant file what the simulator needs of it: stations, channels and their wiring."""

import hashlib
from pathlib import Path as FilePath
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.ids import BadNameError, ChannelId, StationId, checked_channel, checked_name
from steadybead_domain.plant import AirSource, AirSourceKind, Channel, Plant, Station
from steadybead_domain.quantities import Quantity
from steadybead_simulator.places import Document, FileError, Path
from steadybead_simulator.wiring import check_wire, read_conversion, read_meter, read_source


def read_plant(file: FilePath) -> Plant:
    """Read the plant file; FileError names the line and the remedy."""
    try:
        text = file.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(f"{file}: cannot be read: {error}") from None
    return parse_plant(file.name, text)


def parse_plant(name: str, text: str) -> Plant:
    """Read the text of a plant file; FileError names the line and the remedy."""
    document = Document(name, text)
    site = document.table(("site",), document.data)
    try:
        site_id = checked_name(str(site["id"]), "site")
    except (KeyError, BadNameError):
        raise document.fail(("site", "id"), 'name the site: id = "north"') from None
    timezone = _timezone(document, site.get("timezone", "UTC"))
    stations = document.tables(("station",), document.data)
    if not stations:
        raise document.fail(("station",), "add at least one [[station]]")
    return Plant(
        site_id,
        timezone,
        tuple(_station(document, site_id, i, s) for i, s in enumerate(stations)),
        sha256=hashlib.sha256(text.encode()).hexdigest(),
        name=str(site.get("name", "")),
    )


def _timezone(document: Document, name: object) -> str:
    try:
        ZoneInfo(str(name))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        message = f'no time zone {name!r}: write one such as "Europe/Lisbon"'
        raise document.fail(("site", "timezone"), message) from None
    return str(name)


def _station(document: Document, site: str, i: int, table: dict[str, Any]) -> Station:
    here: Path = ("station", i)
    try:
        station = checked_name(str(table["id"]), "station")
    except (KeyError, BadNameError):
        raise document.fail((*here, "id"), 'name the station: id = "bay-1"') from None
    kind = next((k for k in AirSourceKind if k.value in table), AirSourceKind.BLOWER)
    air = document.table((*here, kind.value), table)
    limit = document.number((*here, kind.value, "intake_filter_limit_pa"), air)
    rows = enumerate(document.tables((*here, "channel"), table))
    channels = tuple(_channel(document, site, station, (*here, "channel", j), c) for j, c in rows)
    _check_junctions(document, here, channels)
    return Station(
        StationId(site, station),
        channels,
        str(table.get("name", "")),
        None if "procedure" not in table else str(table["procedure"]),
        AirSource(kind, limit),
    )


def _channel(
    document: Document, site: str, station: str, here: Path, table: dict[str, Any]
) -> Channel:
    try:
        name = checked_channel(str(table.get("id", "")))
    except BadNameError as error:
        raise document.fail((*here, "id"), str(error)) from None
    try:
        quantity = Quantity(str(table.get("quantity")))
    except ValueError:
        known = ", ".join(q.value for q in Quantity)
        raise document.fail((*here, "quantity"), f"quantity is one of {known}") from None
    channel = ChannelId(site, station, name)
    if quantity.facts.of_gun != bool(channel.gun):
        owner = 'a gun: id = "gun-a/…"' if quantity.facts.of_gun else 'the air: id = "air/…"'
        raise document.fail((*here, "id"), f"{quantity.value} belongs to {owner}")
    spec = read_conversion(document, here, table)
    unit = str(table.get("unit", quantity.facts.unit))
    check_wire(document, here, spec, unit=unit, quantity=quantity)
    regulated = table.get("regulated")
    return Channel(
        channel,
        quantity,
        unit,
        spec,
        read_source(document, here, table),
        regulated if isinstance(regulated, bool) else None,
        read_meter(document, here, table) if quantity is Quantity.AIR_FLOW else None,
        document.number((*here, "silence_s"), table) or 30.0,
    )


def _check_junctions(document: Document, here: Path, channels: tuple[Channel, ...]) -> None:
    names = {c.id.channel for c in channels if c.unit == "Cel"}
    for j, channel in enumerate(channels):
        spec = channel.conversion
        if isinstance(spec, Thermocouple) and isinstance(spec.cold_junction, str):
            if spec.cold_junction in names - {channel.id.channel}:
                continue
            message = f"no temperature channel {spec.cold_junction!r} here: name one, or give °C"
            raise document.fail((*here, "channel", j, "conversion"), message)
