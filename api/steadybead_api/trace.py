"""The trace of a weld record: every channel of its gun and air source, with margin and windows."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from steadybead_api import columns
from steadybead_api.columns import Table
from steadybead_api.figures import As, Figures, figures
from steadybead_api.flow_window import flow_window
from steadybead_api.services import Services
from steadybead_collector.records.procedures import ProcedureRevision
from steadybead_domain.plant import Channel, Station
from steadybead_domain.procedures import Procedure
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Buckets, Columns, Int64
from steadybead_domain.times import SECOND
from steadybead_domain.verdict.curve import SHORTEST_GAP, gap_us
from steadybead_domain.welds import Weld

MARGIN: Final = 60 * SECOND
PAGE_ROWS: Final = 10_000
CSV_COLUMNS: Final = ["channel", "time", "value", "unit", "quality", "reason"]


@dataclass(frozen=True, slots=True)
class TraceFrame:
    """What a trace covers: [start, end) in µs, and the channels."""

    weld: Weld
    start: int
    end: int
    channels: tuple[Channel, ...]
    procedure: ProcedureRevision | None
    source: Figures


def frame(services: Services, weld: Weld, wanted: As = As.RECORDED) -> TraceFrame:
    """Lay out the trace of a record; one that runs ends now."""
    now = services.clock()
    stop = now if weld.stop is None else weld.stop
    end = max(min(stop + MARGIN, now), weld.start)
    station = services.plant().station(weld.station)
    held_to = procedure_of(services, weld)
    source = figures(services, wanted)
    channels = _channels(station, weld.gun)
    return TraceFrame(weld, weld.start - MARGIN, end, channels, held_to, source)


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
        columns.first_rows(wanted.source, c.id, start, wanted.end, PAGE_ROWS + 1)
        for c in wanted.channels
    ]
    cuts = [int(part.time[PAGE_ROWS]) for part in read if len(part) > PAGE_ROWS]
    cut = min(cuts, default=None)
    upto = wanted.end if cut is None else cut
    parts = [part.take(slice(0, int(np.searchsorted(part.time, upto)))) for part in read]
    written = columns.shared_times([part.time for part in parts])
    tables = []
    for channel, shown, times in zip(wanted.channels, parts, written, strict=True):
        table = columns.reading_table(shown, channel.unit, times)
        del table["unit"]
        gaps = _gaps_between(shown.time, shown.time, start, upto, gap_length(channel, shown))
        tables.append({**_head(services, channel, wanted), "gaps": gaps, **table})
    return tables, cut


def bucketed(services: Services, wanted: TraceFrame, points: int) -> list[Table]:
    """Give at most `points` buckets of each channel, in columns."""
    tables = []
    for channel in wanted.channels:
        found = wanted.source.buckets(channel.id, wanted.start, wanted.end, points)
        gaps = _bucket_gaps(channel, found, wanted)
        tables.append(
            {**_head(services, channel, wanted), "gaps": gaps, **columns.bucket_table(found)}
        )
    return tables


def rows_of(wanted: TraceFrame) -> Iterator[columns.ReadingPart]:
    """Walk everything, channel after channel, for a file."""
    for channel in wanted.channels:
        for part in columns.steps(wanted.source, channel.id, wanted.start, wanted.end):
            yield columns.ReadingPart(part, channel.unit, str(channel.id))


def gap_length(channel: Channel, shown: Columns) -> int:
    """Tell how long a pause is a gap: ten usual spacings, 2 s at least, silence at most."""
    return gap_us(shown.time, int(channel.silence_s * SECOND))


def window_of(
    services: Services, channel: Channel, procedure: Procedure, start: int, end: int
) -> dict[str, Any] | None:
    """Give the procedure's window in the figures of the channel, None if it has none for it."""
    by_quantity = {
        Quantity.NOZZLE_TEMPERATURE: procedure.nozzle_temperature,
        Quantity.TRAVEL_SPEED: procedure.travel_speed,
        Quantity.CONTACT_FORCE: procedure.rod_force,
    }
    if channel.quantity is Quantity.AIR_FLOW:
        return flow_window(services, channel, procedure, start, end)
    window = by_quantity.get(channel.quantity)
    if window is None or window.unit != channel.unit:
        return None
    return {"low": window.low, "high": window.high, "unit": window.unit, "note": ""}


def _channels(station: Station | None, gun: str) -> tuple[Channel, ...]:
    if station is None:
        return ()
    return tuple(c for c in station.channels if c.gun in (gun, None))


def _head(services: Services, channel: Channel, wanted: TraceFrame) -> Table:
    procedure = None if wanted.procedure is None else wanted.procedure.procedure
    head: dict[str, Any] = {
        "channel": str(channel.id),
        "quantity": channel.quantity.value,
        "gun": channel.gun,
        "unit": channel.unit,
        "window": None
        if procedure is None
        else window_of(services, channel, procedure, wanted.start, wanted.end),
    }
    return head


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
