"""Read a scenario file; every message names the line and the remedy."""

import difflib
from collections.abc import Mapping, Sequence
from pathlib import Path as FilePath
from typing import Any

from steadybead_domain.plant import Plant
from steadybead_domain.times import BadTimeError
from steadybead_simulator.fault_file import read_faults
from steadybead_simulator.fields import (
    Reader,
    breaks,
    clock,
    count,
    flag,
    moment,
    number,
    size,
    weekdays,
    word,
    words,
)
from steadybead_simulator.places import Document, FileError, Path
from steadybead_simulator.scenario import Calendar, Dust, Mains, Scenario, Setup, Weather, Welder
from steadybead_simulator.units import BadSizeError


def read_scenario(file: FilePath, plant: Plant) -> Scenario:
    """Read the file and hold it against the plant; FileError names the line and the remedy."""
    try:
        text = file.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(f"{file}: cannot be read: {error}") from None
    return parse_scenario(file.name, text, plant)


def parse_scenario(name: str, text: str, plant: Plant) -> Scenario:
    """Read the text of a scenario file; FileError names the line and the remedy."""
    document = Document(name, text)
    _check_names(document, (), document.data, _SECTIONS)
    head = _table(document, ("scenario",), _HEAD)
    welders = _array(document, "welder", _WELDER, "name")
    scenario = Scenario(
        **head,
        calendar=Calendar(**_table(document, ("calendar",), _CALENDAR)),
        weather=Weather(**_table(document, ("weather",), _WEATHER)),
        mains=Mains(**_table(document, ("mains",), _MAINS)),
        dust=Dust(**_table(document, ("dust",), _DUST)),
        welders=tuple(Welder(**w) for w in welders) or (Welder("w-1"),),
        setups=tuple(Setup(**s) for s in _array(document, "station", _SETUP, "id")),
    )
    _check_sampling(document, scenario)
    _check_calendar(document, scenario.calendar)
    _check_setups(document, scenario, plant)
    faults = read_faults(document, plant, scenario.start_us)
    return _with_faults(scenario, faults)


def _with_faults(scenario: Scenario, faults: Sequence[Any]) -> Scenario:
    members = {name: getattr(scenario, name) for name in Scenario.__dataclass_fields__}
    return Scenario(**{**members, "faults": tuple(faults)})


def _table(document: Document, path: Path, readers: Mapping[str, Reader]) -> dict[str, Any]:
    data: Any = document.data
    for step in path:
        data = data.get(step, {}) if isinstance(step, str) else data[step]
    if not isinstance(data, dict):
        raise document.fail(path, f"{path[0]} is a table: write [{path[0]}]")
    _check_names(document, path, data, readers)
    fields = _FIELDS.get(str(path[0]), _UNITS_IN_NAMES)
    return {fields.get(k) or k: _read(document, (*path, k), readers[k], v) for k, v in data.items()}


def _array(
    document: Document, name: str, readers: Mapping[str, Reader], needed: str
) -> list[dict[str, Any]]:
    rows = document.data.get(name, [])
    if not isinstance(rows, list) or not all(isinstance(r, dict) for r in rows):
        raise document.fail((name,), f"{name} is a list of tables: write [[{name}]]")
    for i, row in enumerate(rows):
        if needed not in row:
            raise document.fail((name, i), f"add {needed} = …")
    return [_table(document, (name, i), readers) for i in range(len(rows))]


def _check_names(
    document: Document, path: Path, data: Mapping[str, Any], known: Mapping[str, Any]
) -> None:
    for name in data:
        if name not in known:
            near = difflib.get_close_matches(name, known, 1)
            remedy = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
            raise document.fail((*path, name), f"{name!r} is not known here: {remedy}")


def _read(document: Document, path: Path, reader: Reader, value: Any) -> Any:
    try:
        return reader(value)
    except (BadSizeError, BadTimeError) as error:
        raise document.fail(path, f"{path[-1]}: {error}") from None


def _check_sampling(document: Document, scenario: Scenario) -> None:
    blocks = 300.0 / scenario.sample_s
    if abs(blocks - round(blocks)) > 1e-9:
        raise document.fail(("scenario", "sample"), "sample must divide 5 min: 0.2 s, 1 s, 5 s …")
    samples = scenario.pack_s / scenario.sample_s
    if samples < 1.0 - 1e-9 or abs(samples - round(samples)) > 1e-9:
        raise document.fail(("scenario", "pack"), "pack is a whole number of samples long")


def _check_calendar(document: Document, calendar: Calendar) -> None:
    if calendar.start_s >= calendar.end_s:
        raise document.fail(("calendar", "end"), "the shift ends before it starts: change end")
    inside = all(calendar.start_s <= a < b <= calendar.end_s for a, b in calendar.breaks)
    if calendar.kind == "shift" and "breaks" in document.data.get("calendar", {}) and not inside:
        raise document.fail(("calendar", "breaks"), "each break lies inside the shift, start first")


def _check_setups(document: Document, scenario: Scenario, plant: Plant) -> None:
    stations = [s.id.station for s in plant.stations]
    welders = [w.name for w in scenario.welders]
    for i, setup in enumerate(scenario.setups):
        if not any(setup.matches(s) for s in stations):
            known = ", ".join(stations[:12])
            raise document.fail(("station", i, "id"), f"no station {setup.id!r}: known are {known}")
        for name in setup.welders:
            if name not in welders:
                known = ", ".join(welders)
                message = f"no [[welder]] named {name!r}: known are {known}"
                raise document.fail(("station", i, "welders"), message)


_SECTIONS = dict.fromkeys(
    ("scenario", "calendar", "weather", "mains", "dust", "welder", "station", "fault")
)
_HEAD_FIELDS = {
    "start": "start_us",
    "duration": "duration_s",
    "sample": "sample_s",
    "pack": "pack_s",
}
_CALENDAR_FIELDS = {"start": "start_s", "end": "end_s", "cycle": "cycle_s"}
_UNITS_IN_NAMES = {
    "mean": "mean_c",
    "season": "season_k",
    "day": "day_k",
    "hall_low": "hall_low_c",
    "voltage": "voltage_v",
    "level": "level_mg_m3",
    "warm_up": "warm_up_s",
    "flow": "flow_l_min",
    "changes_filter_at": "changes_filter_at_pa",
    "set": "set_c",
    "phase": "phase_s",
    "filter_drop": "filter_drop_pa",
}
_FIELDS = {"scenario": _HEAD_FIELDS, "calendar": _CALENDAR_FIELDS}
_HEAD: dict[str, Reader] = {
    "title": word(),
    "start": moment,
    "duration": size("time", 1, 3.2e8),
    "sample": size("time", 0.1, 10),
    "pack": size("time", 0.1, 60),
}
_CALENDAR: dict[str, Reader] = {
    "kind": word("shift", "loop"),
    "days": weekdays,
    "start": clock,
    "end": clock,
    "breaks": breaks,
    "cycle": size("time", 120, 86_400),
}
_WEATHER: dict[str, Reader] = {
    "mean": size("temperature", -30, 40),
    "season": size("difference", 0, 30),
    "day": size("difference", 0, 20),
    "altitude_m": number(-400, 5000),
    "hall_low": size("temperature", -20, 30),
}
_MAINS: dict[str, Reader] = {"voltage": size("voltage", 90, 500), "unrest": number(0, 10)}
_DUST: dict[str, Reader] = {
    "kind": word("cake", "depth", "mixed"),
    "level": size("dust", 0, 500),
    "sawing_per_day": number(0, 100),
}
_SHARE = number(0, 1)
_WELDER: dict[str, Reader] = {
    "name": word(),
    "pace": number(0.2, 5),
    "warm_up": size("time", 0, 7200),
    "flow": size("flow", 10, 200),
    "changes_filter_at": size("pressure", 50, 20_000),
    **dict.fromkeys(
        (
            "forgets_start",
            "forgets_stop",
            "stops_late",
            "forgets_heat",
            "stops_air_early",
            "opens_valve",
            "records_change",
        ),
        _SHARE,
    ),
}
_SETUP: dict[str, Reader] = {
    "id": word(),
    "set": size("temperature", 100, 600),
    "phase": size("time", 0, 86_400),
    "control": word("logged", "own", "open"),
    "welders": words,
    "filter_drop": size("pressure", 5, 5000),
    "new_thermocouple": flag,
    "guns_in_use": count,
    "outages_per_day": number(0, 1000),
}
