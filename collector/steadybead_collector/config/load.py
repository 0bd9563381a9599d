"""Loading of the plant file."""

import hashlib
import re
import tomllib
import zoneinfo
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from steadybead_collector.config.calendar import read_calendar
from steadybead_collector.config.evidence import EvidenceSettings, read_evidence, read_rule
from steadybead_collector.config.locate import Lines
from steadybead_collector.config.notify import NotifyTarget, read_notify
from steadybead_collector.config.operations import OperationsSettings, read_operations
from steadybead_collector.config.problems import PlantFileError, Problem
from steadybead_collector.config.reader import Notes, Table, shown
from steadybead_collector.config.settings import (
    AccessSettings,
    MqttSettings,
    StoreSettings,
    read_access,
    read_mqtt,
    read_store,
)
from steadybead_collector.config.stations import read_name, read_stations
from steadybead_domain.conversion.station import StationConverter
from steadybead_domain.plant import Channel, Plant, Station
from steadybead_domain.verdict.rule import DecisionRule

_TABLES = (
    "site",
    "mqtt",
    "store",
    "access",
    "calendar",
    "notify",
    "verdict",
    "evidence",
    "operations",
    "station",
)
LARGEST_BYTES = 8 * 1024 * 1024
_PART = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*"""
_DEEP_KEY = re.compile(rf"""(?<![\w"'-])(?:{_PART}){{32}}""")
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)")


@dataclass(frozen=True, slots=True)
class PlantFile:
    """One valid plant file: its text, the plant it describes and the settings of servers."""

    text: str
    plant: Plant
    mqtt: MqttSettings
    store: StoreSettings
    access: AccessSettings
    notify: tuple[NotifyTarget, ...] = ()
    rule: DecisionRule = field(default_factory=DecisionRule)
    evidence: EvidenceSettings = field(default_factory=EvidenceSettings)
    operations: OperationsSettings = field(default_factory=OperationsSettings)


def load_plant_file(path: Path, version: int = 1) -> PlantFile:
    """Read and check a plant file; raise PlantFileError with every mistake found.

    Files that it names are looked up beside it. `version` goes into the plant as it is.
    """
    return read_plant_text(_read(path), str(path), path.parent, version)


def read_plant_text(text: str, name: str, folder: Path | None, version: int = 1) -> PlantFile:
    """Check the text of a plant file; raise PlantFileError with every mistake found.

    `name` stands in messages. Files that it names are looked up in `folder`; without one no file
    is touched, so that a text from elsewhere cannot ask what this machine holds.
    """
    data = _parse(name, text)
    notes = Notes(Lines(text))
    root = Table(data, (), "plant file", notes)
    root.only(_TABLES)
    site_table = root.table("site", "site")
    if not root.has("site"):
        root.fault("site", "[site] is missing", 'add [site] with id = "north"')
        site_table = Table({"id": "-"}, ("site",), "site", notes)
    site, timezone, title = _read_site(site_table)
    stations = read_stations(root, site)
    _check_sources(root, [c for s in stations for c in s.channels])
    mqtt = read_mqtt(root.table("mqtt", "mqtt"), folder)
    store = read_store(root.table("store", "store"), folder)
    access = read_access(root.table("access", "access"))
    calendar = read_calendar(root.table("calendar", "calendar"), timezone)
    notify = read_notify(root, folder, [s.id.station for s in stations])
    rule = read_rule(root.table("verdict", "verdict"))
    receivers = [target.receiver.name for target in notify]
    evidence = read_evidence(root.table("evidence", "evidence"), folder, receivers)
    operations = read_operations(root.table("operations", "operations"))
    if not notes.problems:
        _check_wiring(root, stations)
    if notes.problems:
        raise PlantFileError(name, tuple(sorted(notes.problems)))
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    plant = Plant(site, timezone, stations, version, sha256, title, calendar)
    return PlantFile(text, plant, mqtt, store, access, notify, rule, evidence, operations)


def _read(path: Path) -> str:
    def fault(line: int, message: str, remedy: str) -> PlantFileError:
        return PlantFileError(str(path), (Problem(line, message, remedy),))

    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or "unreadable").lower()
        raise fault(1, f"cannot be read ({reason})", "give the path of a plant file") from None
    if len(content) > LARGEST_BYTES:
        raise fault(1, "is larger than 8 MiB", "a plant file is a few kilobytes; check the path")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise fault(line, "is not UTF-8 text", "save it as UTF-8") from None


def _parse(name: str, text: str) -> dict[str, Any]:
    deep = _DEEP_KEY.search(text)
    if deep is not None:  # the parser needs the square of the parts of a key
        line = text.count("\n", 0, deep.start()) + 1
        remedy = "a plant file has tables in tables, no more"
        raise PlantFileError(name, (Problem(line, "is a key of more than 32 parts", remedy),))
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        place = _PLACE.search(message)
        line = int(place.group(1)) if place and place.group(1) else text.count("\n") + 1
        column = f" (column {place.group(2)})" if place and place.group(2) else ""
        words = _PLACE.sub("", message)
        remedy = 'write key = value, with texts in "quotes"'
        problem = Problem(line, f"is not TOML: {words}{column}", remedy)
        raise PlantFileError(name, (problem,)) from None
    except RecursionError:
        problem = Problem(1, "is nested too deeply", "a plant file has tables in tables, no more")
        raise PlantFileError(name, (problem,)) from None
    except ValueError:
        problem = Problem(
            1, "has a number of thousands of digits", "write numbers as they are read"
        )
        raise PlantFileError(name, (problem,)) from None


def _read_site(table: Table) -> tuple[str, str, str]:
    table.only(("id", "timezone", "name"))
    site = read_name(table, "id", "site")
    timezone = table.text("timezone") or "UTC"
    try:
        zoneinfo.ZoneInfo(timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        remedy = 'write a zone such as "Europe/Lisbon" or "UTC"'
        table.fault("timezone", f"unknown timezone {shown(timezone)}", remedy)
    return site, timezone, table.text("name") or ""


def _check_wiring(root: Table, stations: tuple[Station, ...]) -> None:
    """Note what only the converter itself finds wrong."""
    for index, station in enumerate(stations):
        try:
            StationConverter(station, plant_version=1)
        except ValueError as error:
            message = f"station {station.id.station} cannot be converted"
            root.notes.add(("station", index), message, str(error))


def _check_sources(root: Table, channels: list[Channel]) -> None:
    taken: dict[tuple[str, str], Channel] = {}
    for channel in channels:
        if channel.source is None:
            continue
        key = (channel.source.topic, channel.source.pointer)
        other = taken.setdefault(key, channel)
        if other is not channel:
            message = f"{channel.id} and {other.id} read the same number of {shown(key[0])}"
            root.notes.add(("station",), message, "give each channel its own topic or pointer")
