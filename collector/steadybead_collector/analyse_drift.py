"""Run the drift watch on anybody's log of one gun: a CSV file in, one JSON line per update out."""

import json
import math
import sys
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, TextIO

import numpy as np
import numpy.typing as npt

from steadybead_collector.drift_log import LONGEST_SILENCE_S, DriftLog, gun_of, read_drift_log
from steadybead_domain.diagnosis.balance import Residual
from steadybead_domain.diagnosis.drift import DriftWatch
from steadybead_domain.diagnosis.feature import Level
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.grid import STEP, ChannelGrid
from steadybead_domain.diagnosis.gun_columns import GunColumns
from steadybead_domain.diagnosis.gun_state import GunStateDetector
from steadybead_domain.diagnosis.meter_factor import MeterFactor
from steadybead_domain.diagnosis.shift_figures import StateFigures
from steadybead_domain.diagnosis.signals import Held, Traces, gun_signals
from steadybead_domain.diagnosis.steady import SteadySpans, SteadyState
from steadybead_domain.diagnosis.windows import SIZE, Gatherer, Windows
from steadybead_domain.errors import PlainError
from steadybead_domain.times import HOUR, SECOND

DONE, UNREADABLE = 0, 2
BLOCK = 7200
AT_ONCE = 4
_TAIL = 5 * HOUR // STEP  # so that what the file leaves open is closed
_QUIET = _TAIL + round(LONGEST_SILENCE_S * SECOND) // STEP  # after that nothing is held any more
_SPREAD_80 = 1.2816


def analyse_drift(path: Path, out: TextIO) -> int:
    """Follow one gun's sensors through a log; give the exit code.

    Columns `time_s,nozzle_c[,flow_l_min,power_w,inlet_c,set_c,reference_c]` under one header line,
    others are passed over; empty cells are gaps. `reference_c` is what a probe at the nozzle
    showed. One line per steady state and per finding: `time_s, nozzle_c, flow_l_min, power_w,
    residual_w, sigma_w, drift_c, low_c, high_c, cause, finding, next_step, not_detectable`, null
    where it cannot say. `drift_c`: what the thermocouple reads too high since the reference was
    learnt, if that is the cause; 80 % interval beside it. An unreadable file: one line on stderr,
    code 2, nothing written.
    """
    try:
        log = read_drift_log(path)
    except PlainError as error:
        sys.stderr.write(f"{error}\n")
        return UNREADABLE
    written = False
    for line in drift_lines(log):
        out.write(json.dumps(line, allow_nan=False) + "\n")
        written = True
    if not written:
        out.write(json.dumps(_line(None, finding_words="no steady state in this log")) + "\n")
    return DONE


def drift_lines(log: DriftLog) -> Iterator[dict[str, Any]]:
    """Walk the log and give the lines, in order of time."""
    station, gun = log.station, gun_of(log)
    columns = GunColumns(station, gun)
    spans = SteadySpans()
    watch = DriftWatch(station, gun, columns.names)
    for check in log.checks:
        watch.note(check)
    for windows in _hours(log, columns):
        ended = list(spans.update(windows))
        read = watch.reader.read(ended)
        shift_lines = _state_lines(log, watch, ended, read)
        findings = watch.update(windows, read, [])
        told = [(f.time, _finding_line(log, watch, f)) for f in findings]
        for _, line in sorted([*shift_lines, *told], key=lambda row: row[0]):
            yield line


def _hours(log: DriftLog, columns: GunColumns) -> Iterator[Windows]:
    """Give the whole windows of each hour that is walked."""
    gatherer = Gatherer(columns.names)
    for start, traces, states in _blocks(log):
        windows = gatherer.update(start, columns.of(traces, states))
        ends = range(start + BLOCK, start + len(traces.blank) + BLOCK, BLOCK)
        cuts = np.searchsorted(windows.start // STEP + SIZE, ends, "right").tolist()
        for low, high in pairwise([0, *cuts]):
            if low < high:
                yield windows.take(slice(low, high))


def _blocks(log: DriftLog) -> Iterator[tuple[int, Traces, Any]]:
    """Walk some hours at once: a step of numpy costs as much for one as for all."""
    station, gun = log.station, gun_of(log)
    grids = {}
    for channel in station.channels:
        grids[channel.id.channel] = ChannelGrid(channel)
        grids[channel.id.channel].push(log.columns[channel.id], None)
    state, meter = GunStateDetector(), MeterFactor(station, gun)
    heard = np.unique(np.concatenate([rows.time for rows in log.columns.values()])) // STEP
    first, end = log.start // STEP, log.end // STEP + _TAIL
    for start, n in _walked(heard, first, end):
        traces = Traces(station, {name: g.trace(start, n) for name, g in grids.items()}, n)
        signals = gun_signals(gun, traces, [Held(0, n, None, None)], meter, start=start)
        yield start, traces, state.update(signals)


def _walked(heard: npt.NDArray[np.int64], first: int, end: int) -> Iterator[tuple[int, int]]:
    """Give stretches of up to `AT_ONCE` hours as first step and steps, `end` ends the last.

    A long pause, which a wrong time stamp can make years long, is passed over.
    """
    starts = np.arange(first, end, BLOCK)
    low, high = np.searchsorted(heard, starts - _QUIET), np.searchsorted(heard, starts + BLOCK)
    walked = np.flatnonzero(low < high)
    for hours in np.split(walked, np.flatnonzero(np.diff(walked) > 1) + 1):
        for i in range(0, len(hours), AT_ONCE):
            part = hours[i : i + AT_ONCE]
            start = int(starts[part[0]])
            yield start, min(len(part) * BLOCK, end - start)


def _state_lines(
    log: DriftLog, watch: DriftWatch, states: Sequence[SteadyState], read: Sequence[StateFigures]
) -> list[tuple[int, dict[str, Any]]]:
    """Give the lines of the states of a block by their ends, by what is known before it."""
    if not states:
        return []
    missing = _missing(watch)
    level = watch.features["balance"].level if "balance" in watch.features else None
    lines = []
    for state, figures in zip(states, read, strict=True):
        point = figures.balance
        residual = None if point is None else watch.balance.residual([point])
        members: dict[str, Any] = {
            "nozzle_c": state.get("nozzle"),
            "flow_l_min": state.get("flow"),
            "power_w": state.get("power"),
            "not_detectable": missing,
        }
        if residual is not None and level is not None:
            members |= _residual_members(residual, level)
        lines.append((state.end, _line(log.time_s(state.end), **members)))
    return lines


def _residual_members(residual: Residual, level: Level) -> dict[str, float]:
    left = residual.value_w - level.mean * residual.power_w / 100.0
    sigma = math.hypot(residual.sigma_w, level.sigma * residual.power_w / 100.0)
    drift, spread = -left / residual.per_c, _SPREAD_80 * sigma / residual.per_c
    members = {"residual_w": left, "sigma_w": sigma, "drift_c": drift}
    return members | {"low_c": drift - spread, "high_c": drift + spread}


def _finding_line(log: DriftLog, watch: DriftWatch, finding: Finding) -> dict[str, Any]:
    numbers = dict(finding.evidence)
    size = numbers.get("size of thermocouple_drift")
    return _line(
        log.time_s(finding.time),
        drift_c=size if isinstance(size, float) else None,
        cause=finding.kind,
        finding_words=finding.words,
        next_step=finding.next_step,
        not_detectable=_missing(watch),
    )


def _missing(watch: DriftWatch) -> str | None:
    return "; ".join(s.words for s in watch.scope() if s.smallest is None) or None


def _line(
    time_s: float | None, *, finding_words: str | None = None, **given: Any
) -> dict[str, Any]:
    line: dict[str, Any] = {"time_s": time_s}
    names = ("nozzle_c", "flow_l_min", "power_w", "residual_w", "sigma_w")
    for name in (*names, "drift_c", "low_c", "high_c", "cause"):
        line[name] = _plain(given.get(name))
    line["finding"] = finding_words
    line["next_step"] = given.get("next_step")
    line["not_detectable"] = given.get("not_detectable")
    return line


def _plain(value: Any) -> Any:
    if not isinstance(value, float):
        return value
    return float(f"{value:.6g}") if math.isfinite(value) else None
