"""Run a diagnosis on anybody's log: a CSV file in, one JSON line per update out."""

import csv
import json
import math
import sys
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TextIO

from steadybead_domain.diagnosis.filter import FilterTracker, FilterUpdate
from steadybead_domain.diagnosis.filter_data import Sample

DONE, UNREADABLE = 0, 2
UNREAL = 1e6  # Pa or L/min: no filter of a blower shows so much
NOTHING = FilterUpdate(math.nan, None, None, None, None, None, "no usable row")


class UnreadableFileError(ValueError):
    """A log that cannot be read; the message names the place and the remedy."""


def analyse_filter(path: Path, limit_pa: float | None, out: TextIO) -> int:
    """Follow a filter's pressure drop through a log; give the exit code.

    Columns `time_s,dp_pa[,flow_l_min]` under one header line, others are passed over. Cells that
    are empty or not finite are gaps. The file is read whole before the first line is written; if
    that fails, one line on stderr tells why and the code is 2.
    """
    try:
        if limit_pa is not None and not (math.isfinite(limit_pa) and limit_pa > 0):
            raise UnreadableFileError(f"limit {limit_pa} Pa: give a number above 0")  # noqa: TRY301
        samples = list(filter_log(path))
    except UnreadableFileError as error:
        sys.stderr.write(f"{error}\n")
        return UNREADABLE
    tracker = FilterTracker(limit_pa)
    written = 0
    for sample in samples:
        written += _write(tracker.update(sample), out)
    written += _write(tracker.finish(), out)
    if not written:
        _write([NOTHING], out)
    return DONE


def filter_log(path: Path) -> Iterator[Sample]:
    """Walk the usable rows of a filter log; raise UnreadableFileError."""
    for line, row in _rows(path, ("time_s", "dp_pa")):
        time_s = _number(path, line, "time_s", row)
        drop_pa = _number(path, line, "dp_pa", row)
        flow = _number(path, line, "flow_l_min", row) if "flow_l_min" in row else None
        lost = flow is None and "flow_l_min" in row
        if time_s is not None and drop_pa is not None and not lost:
            yield Sample(time_s, drop_pa, flow)


def _rows(path: Path, needed: tuple[str, ...]) -> Iterator[tuple[int, Mapping[str, str]]]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            names = [name.strip() for name in next(reader, [])]
            missing = [name for name in needed if name not in names]
            if missing:
                raise UnreadableFileError(
                    f"{path}, line 1: no column {' and '.join(missing)};"
                    f" the header must be time_s,dp_pa with flow_l_min if there is a flow"
                )
            for cells in reader:
                if any(cell.strip() for cell in cells):
                    yield reader.line_num, dict(zip(names, cells, strict=False))
    except OSError as error:
        raise UnreadableFileError(f"{path}: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise UnreadableFileError(f"{path}: not a text file in UTF-8") from None
    except csv.Error as error:
        raise UnreadableFileError(f"{path}, line {reader.line_num}: {error}") from None


def _number(path: Path, line: int, name: str, row: Mapping[str, str]) -> float | None:
    """Read a cell; None for a gap."""
    text = row.get(name, "").strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise UnreadableFileError(
            f"{path}, line {line}, {name}: {text[:40]!r} is no number; correct or empty it"
        ) from None
    if not math.isfinite(value) or (name != "time_s" and abs(value) > UNREAL):
        return None
    return value


def _write(updates: list[FilterUpdate], out: TextIO) -> int:
    for update in updates:
        members = {name: _plain(value) for name, value in asdict(update).items()}
        members["time_s"] = update.time_s if math.isfinite(update.time_s) else None
        out.write(json.dumps(members, allow_nan=False) + "\n")
    return len(updates)


def _plain(value: float | str | None) -> float | str | None:
    if not isinstance(value, float):
        return value
    return float(f"{value:.9g}") if math.isfinite(value) else None
