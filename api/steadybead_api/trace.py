"""The trace of a weld record: every channel of its gun and air source, with margin and windows."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from steadybead_api import columns
from steadybead_api.columns import Table
from steadybead_api.services import Services
from steadybead_collector.records.procedures import ProcedureRevision
from steadybead_domain.conversion.flow import NORMAL_PRESSURE_PA, GasState, convert_flow
from steadybead_domain.plant import Channel, FlowMeter, Station
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Buckets, Columns, Int64
from steadybead_domain.times import SECOND
from steadybead_domain.welds import Weld

MARGIN: Final = 60 * SECOND
PAGE_ROWS: Final = 10_000
SHORTEST_GAP: Final = 2 * SECOND
ASSUMED_AIR: Final = GasState(20.0, NORMAL_PRESSURE_PA)
CSV_COLUMNS: Final = ["channel", "time", "value", "unit", "quality", "reason"]


@dataclass(frozen=True, slots=True)
class TraceFrame:
    """What a trace covers: [start, end) in µs, and the channels."""

    weld: Weld
    start: int
    end: int
    channels: tuple[Channel, ...]
    procedure: ProcedureRevision | None


def frame(services: Services, weld: Weld) -> TraceFrame:
    """Lay out the trace of a record; one that runs ends now."""
    now = services.clock()
    stop = now if weld.stop is None else weld.stop
    end = max(min(stop + MARGIN, now), weld.start)
    station = services.plant().station(weld.station)
    held_to = procedure_of(services, weld)
    return TraceFrame(weld, weld.start - MARGIN, end, _channels(station, weld.gun), held_to)


def procedure_of(services: Services, weld: Weld) -> ProcedureRevision | None:
    """Give what a record is held to: its own procedure, else its station's, as of its start."""
    procedures = services.records.procedures
    if weld.procedure is not None and weld.procedure_revision is not None:
        return procedures.get(weld.procedure, weld.procedure_revision)
    station = services.plant().station(weld.station)
    name = weld.procedure or (None if station is None else station.procedure)
    return None if name is None else procedures.as_of(name, weld.start)


def raw_page(services: Services, wanted: TraceFrame, start: int) -> tuple[list[Table], int | None]:
    """Give columns from `start` on, at most 10,000 rows of each channel, and where to go on."""
    read = [
        columns.first_rows(services.readings, c.id, start, wanted.end, PAGE_ROWS + 1)
        for c in wanted.channels
    ]
    cuts = [int(part.time[PAGE_ROWS]) for part in read if len(part) > PAGE_ROWS]
    cut = min(cuts, default=None)
    upto = wanted.end if cut is None else cut
    tables = []
    for channel, part in zip(wanted.channels, read, strict=True):
        shown = part.take(slice(0, int(np.searchsorted(part.time, upto))))
        table = columns.reading_table(shown, channel.unit)
        del table["unit"]
        gaps = _gaps_between(shown.time, shown.time, start, upto, gap_length(channel, shown))
        tables.append({**_head(channel, wanted), "gaps": gaps, **table})
    return tables, cut


def bucketed(services: Services, wanted: TraceFrame, points: int) -> list[Table]:
    """Give at most `points` buckets of each channel, in columns."""
    tables = []
    for channel in wanted.channels:
        found = services.readings.buckets(channel.id, wanted.start, wanted.end, points)
        gaps = _bucket_gaps(channel, found, wanted)
        tables.append({**_head(channel, wanted), "gaps": gaps, **columns.bucket_table(found)})
    return tables


def rows_of(services: Services, wanted: TraceFrame) -> Iterator[columns.ReadingPart]:
    """Walk everything, channel after channel, for a file."""
    for channel in wanted.channels:
        for part in columns.steps(services.readings, channel.id, wanted.start, wanted.end):
            yield columns.ReadingPart(part, channel.unit, str(channel.id))


def gap_length(channel: Channel, shown: Columns) -> int:
    """Tell how long a pause is a gap: ten usual spacings, 2 s at least, silence at most."""
    silence = int(channel.silence_s * SECOND)
    if len(shown) < 3:
        return silence
    usual = int(np.median(np.diff(shown.time)))
    return min(max(10 * usual, SHORTEST_GAP), silence)


def window_of(channel: Channel, procedure: Procedure) -> dict[str, Any] | None:
    """Give the procedure's window in the figures of the channel, None if it has none for it."""
    by_quantity = {
        Quantity.NOZZLE_TEMPERATURE: procedure.nozzle_temperature,
        Quantity.TRAVEL_SPEED: procedure.travel_speed,
        Quantity.CONTACT_FORCE: procedure.rod_force,
    }
    if channel.quantity is Quantity.AIR_FLOW:
        return _flow_window(channel.flow or FlowMeter(), procedure)
    window = by_quantity.get(channel.quantity)
    if window is None or window.unit != channel.unit:
        return None
    return _written(window.low, window.high, window, "")


def _channels(station: Station | None, gun: str) -> tuple[Channel, ...]:
    if station is None:
        return ()
    return tuple(c for c in station.channels if c.gun in (gun, None))


def _head(channel: Channel, wanted: TraceFrame) -> Table:
    procedure = None if wanted.procedure is None else wanted.procedure.procedure
    head: dict[str, Any] = {
        "channel": str(channel.id),
        "quantity": channel.quantity.value,
        "gun": channel.gun,
        "unit": channel.unit,
        "window": None if procedure is None else window_of(channel, procedure),
    }
    return head


def _flow_window(meter: FlowMeter, procedure: Procedure) -> dict[str, Any]:
    window, reference = procedure.air_flow, procedure.flow_reference
    if reference is meter.reference:
        return _written(window.low, window.high, window, "")
    factor = float(convert_flow(np.ones(1), meter, ASSUMED_AIR, reference)[0])
    low = None if window.low is None else round(window.low / factor, 2)
    high = None if window.high is None else round(window.high / factor, 2)
    note = (
        f"the procedure's figures are at {reference.value}, the meter's are"
        f" {meter.reference.value}: converted for air of 20 °C and 1013.25 hPa in the meter"
    )
    return _written(low, high, window, note)


def _written(low: float | None, high: float | None, window: Window, note: str) -> dict[str, Any]:
    return {"low": low, "high": high, "unit": window.unit, "note": note}


def _bucket_gaps(channel: Channel, found: Buckets, wanted: TraceFrame) -> list[dict[str, int]]:
    readings = max(int(found.n.sum()), 1)
    spacing = (wanted.end - wanted.start) // readings
    longest = min(max(10 * spacing, SHORTEST_GAP), int(channel.silence_s * SECOND))
    return _gaps_between(found.start, found.end, wanted.start, wanted.end, longest)


def _gaps_between(
    begins: Int64, ends: Int64, start: int, end: int, longest: int
) -> list[dict[str, int]]:
    """Find the stretches longer than `longest` between one end and the next beginning."""
    left = np.concatenate([[start], ends]).astype(np.int64)
    right = np.concatenate([begins, [end]]).astype(np.int64)
    far = np.flatnonzero(right - left > longest)
    return [{"start": int(left[i]), "end": int(right[i])} for i in far]
