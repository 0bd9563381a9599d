"""Read from a plant file what the simulator needs of it: stations, channels and their wiring."""

import hashlib
from pathlib import Path as FilePath
from typing import Any

from steadybead_domain.conversion.specs import (
    Conversion,
    CurrentLoop,
    FlowPrinciple,
    FlowReference,
    Linear,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.ids import BadNameError, ChannelId, StationId, checked_channel, checked_name
from steadybead_domain.plant import (
    AirSource,
    AirSourceKind,
    Channel,
    FlowMeter,
    Plant,
    PointerSource,
    Station,
)
from steadybead_domain.quantities import Quantity
from steadybead_simulator.places import Document, FileError, Path
from steadybead_simulator.thermocouple import TYPES
from steadybead_simulator.units import same_dimension

_KINDS: dict[str, type[Conversion]] = {
    "thermocouple": Thermocouple,
    "current_loop": CurrentLoop,
    "voltage_loop": VoltageLoop,
    "pulse": PulseCounter,
    "square_root": SquareRoot,
    "linear": Linear,
}


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
    site = document.data.get("site", {})
    try:
        site_id = checked_name(str(site["id"]), "site")
    except (KeyError, BadNameError):
        raise document.fail(("site", "id"), 'name the site: id = "north"') from None
    stations = document.data.get("station", [])
    if not stations:
        raise document.fail(("station",), "add at least one [[station]]")
    return Plant(
        site_id,
        str(site.get("timezone", "UTC")),
        tuple(_station(document, site_id, i, s) for i, s in enumerate(stations)),
        sha256=hashlib.sha256(text.encode()).hexdigest(),
        name=str(site.get("name", "")),
    )


def _station(document: Document, site: str, i: int, table: dict[str, Any]) -> Station:
    here: Path = ("station", i)
    try:
        station = checked_name(str(table["id"]), "station")
    except (KeyError, BadNameError):
        raise document.fail((*here, "id"), 'name the station: id = "bay-1"') from None
    kind = next((k for k in AirSourceKind if k.value in table), AirSourceKind.BLOWER)
    air = table.get(kind.value, {})
    channels = enumerate(table.get("channel", []))
    return Station(
        StationId(site, station),
        tuple(_channel(document, site, station, (*here, "channel", j), c) for j, c in channels),
        str(table.get("name", "")),
        table.get("procedure"),
        AirSource(kind, air.get("intake_filter_limit_pa")),
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
    table_of = table.get("conversion")
    spec = None if table_of is None else _conversion(document, (*here, "conversion"), table_of)
    unit = str(table.get("unit", quantity.facts.unit))
    _check_wire(document, here, spec, unit, quantity)
    source = table.get("source")
    return Channel(
        ChannelId(site, station, name),
        quantity,
        unit,
        spec,
        None
        if source is None
        else PointerSource(str(source["topic"]), str(source.get("pointer", ""))),
        table.get("regulated"),
        _meter(document, here, table) if quantity is Quantity.AIR_FLOW else None,
        float(table.get("silence_s", 30.0)),
    )


def _conversion(document: Document, here: Path, table: dict[str, Any]) -> Conversion:
    members = {k: v for k, v in table.items() if k not in {"kind", "reference"}}
    if table.get("kind") == "linear":
        members = {"offset": 0.0, **members}
    kind = _KINDS.get(str(table.get("kind")))
    if kind is None:
        raise document.fail(here, f"kind is one of {', '.join(_KINDS)}")
    try:
        return kind(**members)
    except TypeError:
        wanted = ", ".join(kind.__dataclass_fields__)
        raise document.fail(here, f"{table['kind']} takes {wanted}") from None


def _check_wire(
    document: Document, here: Path, spec: Conversion | None, unit: str, quantity: Quantity
) -> None:
    """Refuse what the simulator cannot speak."""
    if isinstance(spec, Thermocouple) and spec.type not in TYPES:
        known = ", ".join(TYPES)
        message = f"the simulator has no thermocouple of type {spec.type!r}: use one of {known}"
        raise document.fail((*here, "conversion"), message)
    starts = {Thermocouple: "mV", CurrentLoop: "mA", VoltageLoop: "V", SquareRoot: "Pa"}
    wanted = quantity.facts.unit if spec is None else starts.get(type(spec), unit)
    if unit != wanted and not same_dimension(unit, wanted):
        message = f"the simulator cannot speak unit {unit!r} here: use {wanted}"
        raise document.fail((*here, "unit"), message)
    to = getattr(spec, "to", None)
    if to is not None and not same_dimension(to, quantity.facts.unit):
        message = f"the simulator cannot convert {to!r}: use to = {quantity.facts.unit!r}"
        raise document.fail((*here, "conversion"), message)


def _meter(document: Document, here: Path, table: dict[str, Any]) -> FlowMeter:
    """Read principle, reference and position, at the channel or in its table `flow`."""
    said = {**table.get("conversion", {}), **table, **table.get("flow", {})}
    try:
        return FlowMeter(
            FlowPrinciple(said.get("principle", "actual_volume")),
            FlowReference(said.get("reference", "actual")),
            str(said.get("position", "not stated")),
        )
    except ValueError as error:
        known = ", ".join((*(p.value for p in FlowPrinciple), *(r.value for r in FlowReference)))
        where = "principle" if "FlowPrinciple" in str(error) else "reference"
        message = f"flow meter: {error}: known are {known}"
        raise document.fail((*here, where), message) from None
