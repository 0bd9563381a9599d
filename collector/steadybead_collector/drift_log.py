"""Reading a CSV log of one gun for the drift watch."""

import csv
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.errors import PlainError
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, FlowMeter, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Float64
from steadybead_domain.times import DAY, MINUTE, SECOND

NEEDED = ("time_s", "nozzle_c")
CHANNELS: Mapping[str, tuple[str, Quantity]] = {
    "nozzle_c": ("gun-a/nozzle", Quantity.NOZZLE_TEMPERATURE),
    "flow_l_min": ("gun-a/flow", Quantity.AIR_FLOW),
    "power_w": ("gun-a/power", Quantity.HEATER_POWER),
    "inlet_c": ("gun-a/inlet", Quantity.GUN_INLET_TEMPERATURE),
    "set_c": ("gun-a/set", Quantity.SET_TEMPERATURE),
}
REFERENCE = "reference_c"
_ID = StationId("log", "gun")
_ORIGIN = 20_000 * DAY
_APART = 10 * MINUTE
_UNREAL = 1e6
_GAPS = 5.0
LONGEST_SILENCE_S = 7200.0
_LONGEST_S = 5 * 366 * 86_400.0


class UnreadableLogError(PlainError):
    """A log that cannot be read; the message names the place and the remedy."""


@dataclass(frozen=True, slots=True)
class DriftLog:
    """A log as the readings of one gun; `origin_s` is the file's time at `_ORIGIN`."""

    station: Station
    columns: Mapping[ChannelId, Columns]
    checks: tuple[ReferenceCheck, ...]
    start: int
    end: int
    origin_s: float

    def time_s(self, time: int) -> float:
        """Give the file's own time."""
        return round(self.origin_s + (time - _ORIGIN) / SECOND, 3)


def gun_of(log: DriftLog) -> str:
    """Give the one gun's name."""
    return log.station.guns[0]


def read_drift_log(path: Path) -> DriftLog:
    """Read the file whole; raise UnreadableLogError."""
    table = _table(path)
    times = table.pop("time_s")
    kept = in_order(times)
    times = times[kept]
    if len(times) == 0:
        raise UnreadableLogError(f"{path}: no row with a time; time_s must count seconds")
    if times[-1] - times[0] > _LONGEST_S:
        raise UnreadableLogError(f"{path}: time_s spans more than 5 years; give it in seconds")
    micros = _ORIGIN + np.rint((times - times[0]) * SECOND).astype(np.int64)
    step_s = float(np.median(np.diff(times))) if len(times) > 1 else 1.0
    station = _station([name for name in CHANNELS if name in table], step_s)
    columns = {
        ChannelId("log", "gun", CHANNELS[name][0]): _columns(micros, values[kept])
        for name, values in table.items()
        if name in CHANNELS
    }
    checks = (
        ()
        if REFERENCE not in table
        else tuple(_checks(micros, table["nozzle_c"][kept], table[REFERENCE][kept]))
    )
    return DriftLog(station, columns, checks, int(micros[0]), int(micros[-1]), float(times[0]))


def in_order(times: Float64) -> npt.NDArray[np.bool_]:
    """Tell which rows have a time that fits the order; the fewest are dropped of the two ways.

    One bad time stamp, ahead or back, costs its own row and no other.
    """
    finite = np.isfinite(times)
    filled = np.where(finite, times, -np.inf)
    before = np.concatenate(([-np.inf], np.maximum.accumulate(filled)[:-1]))
    rising = finite & (times > before)
    filled = np.where(finite, times, np.inf)
    after = np.concatenate((np.minimum.accumulate(filled[::-1])[::-1][1:], [np.inf]))
    waiting = finite & (times < after)
    return rising if rising.sum() >= waiting.sum() else waiting


def _station(names: list[str], step_s: float) -> Station:
    made = []
    for name in names:
        channel, quantity = CHANNELS[name]
        made.append(
            Channel(
                ChannelId("log", "gun", channel),
                quantity,
                quantity.facts.unit,
                flow=FlowMeter(reference=FlowReference.DIN_1343)
                if quantity is Quantity.AIR_FLOW
                else None,
                silence_s=min(max(30.0, _GAPS * step_s), LONGEST_SILENCE_S),
            )
        )
    return Station(_ID, tuple(made))


def _columns(micros: npt.NDArray[np.int64], values: Float64) -> Columns:
    known = np.isfinite(values)
    n = int(known.sum())
    marks = np.zeros(n, np.uint8)
    return Columns(micros[known], values[known], values[known], marks, marks, np.ones(n, np.uint32))


def _checks(
    micros: npt.NDArray[np.int64], shown: Float64, reference: Float64
) -> Iterator[ReferenceCheck]:
    """Give one check for each stretch of up to ten minutes with a reference."""
    rows = np.flatnonzero(np.isfinite(shown) & np.isfinite(reference))
    while len(rows):
        first = int(micros[rows[0]])
        own = rows[micros[rows] < first + _APART]
        rows = rows[len(own) :]
        yield ReferenceCheck(
            f"check-{first}",
            ChannelId("log", "gun", CHANNELS["nozzle_c"][0]),
            first,
            float(reference[own].mean()),
            float(shown[own].mean()),
            "",
            "",
            2.0,
            "log",
            first,
        )


def _table(path: Path) -> dict[str, Float64]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            names = [name.strip() for name in next(reader, [])]
            missing = [name for name in NEEDED if name not in names]
            if missing:
                raise UnreadableLogError(
                    f"{path}, line 1: no column {' and '.join(missing)}; the header must be"
                    f" {','.join([*NEEDED, '…'])} with any of"
                    f" {', '.join([*list(CHANNELS)[1:], REFERENCE])}"
                )
            wanted = [n for n in names if n in CHANNELS or n in ("time_s", REFERENCE)]
            rows = [
                [_number(path, reader.line_num, n, cells, names) for n in wanted]
                for cells in reader
                if any(cell.strip() for cell in cells)
            ]
    except OSError as error:
        raise UnreadableLogError(f"{path}: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise UnreadableLogError(f"{path}: not a text file in UTF-8") from None
    except csv.Error as error:
        raise UnreadableLogError(f"{path}, line {reader.line_num}: {error}") from None
    values = np.array(rows, np.float64).reshape(len(rows), len(wanted))
    return {name: values[:, i] for i, name in enumerate(wanted)}


def _number(path: Path, line: int, name: str, cells: list[str], names: list[str]) -> float:
    """Read a cell; NaN for a gap."""
    place = names.index(name)
    text = cells[place].strip() if place < len(cells) else ""
    if not text:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        raise UnreadableLogError(
            f"{path}, line {line}, {name}: {text[:40]!r} is no number; correct or empty it"
        ) from None
    unreal = not math.isfinite(value) or (name != "time_s" and abs(value) > _UNREAL)
    return math.nan if unreal else value
