"""The page of one weld record and its trace."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.sensor_words import expanded_text, figure
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_dashboards.weld_rows import WeldRow, weld_row
from steadybead_dashboards.words import GUN_MAIN, QUANTITIES, trimmed
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import SECOND, format_rfc3339
from steadybead_domain.welds import Weld

MARGIN_US = 60 * SECOND


@dataclass(frozen=True, slots=True)
class MeanWorth:
    """A mean between start and stop in the channel's unit, with U and its coverage factor.

    `checked`: it is corrected by reference checks on the nozzle.
    """

    mean: float
    expanded: float
    factor: float
    checked: bool


@dataclass(frozen=True, slots=True)
class TraceChannel:
    """A channel of the trace with its window; `low`, `high` None where open or unknown.

    `mean` and `expanded` say what the mean is worth, empty where that is not known.
    """

    channel: str
    quantity: str
    label: str
    unit: str
    decimals: int
    low: float | None
    high: float | None
    window_text: str
    mean: str
    expanded: str
    factor: str
    checked: bool


@dataclass(frozen=True, slots=True)
class WeldPage:
    """One weld record; the trace runs from `trace_start` to `trace_end` (60 s on either side)."""

    template: ClassVar[str] = "weld.html"
    shell: Shell
    weld: WeldRow
    procedure: Procedure | None
    channels: tuple[TraceChannel, ...]
    trace_start: str
    trace_end: str
    made: Moment


def weld_page(
    plant: Plant,
    weld: Weld,
    procedure: Procedure | None,
    shell: Shell,
    worths: Mapping[str, MeanWorth] | None = None,
) -> WeldPage:
    """Build the page; `procedure` is the revision under which the record was started."""
    end = shell.now if weld.stop is None else weld.stop + MARGIN_US
    known = {} if procedure is None else {procedure.id: procedure}
    return WeldPage(
        shell,
        weld_row(weld, plant, known, shell),
        procedure,
        tuple(_channels(plant, weld, procedure, worths or {})),
        format_rfc3339(weld.start - MARGIN_US),
        format_rfc3339(end),
        shell.moment(shell.now),
    )


def _channels(
    plant: Plant, weld: Weld, procedure: Procedure | None, worths: Mapping[str, MeanWorth]
) -> list[TraceChannel]:
    station = plant.station(weld.station)
    found = [] if station is None else [station.channel_of(q, weld.gun) for q in GUN_MAIN]
    return [
        _channel(str(c.id), c.quantity, procedure, worths.get(str(c.id)))
        for c in found
        if c is not None
    ]


def _channel(
    channel: str, quantity: Quantity, procedure: Procedure | None, worth: MeanWorth | None
) -> TraceChannel:
    words = QUANTITIES[quantity]
    window = _window(quantity, procedure)
    low, high = (None, None) if window is None else (window.low, window.high)
    return TraceChannel(
        channel,
        quantity.value,
        words.label,
        words.unit,
        words.decimals,
        low,
        high,
        "" if window is None else f"{_end(low, quantity)} – {_end(high, quantity)} {words.unit}",
        "" if worth is None else figure(worth.mean, quantity),
        "" if worth is None else expanded_text(worth.expanded, quantity),
        "" if worth is None else f"{worth.factor:.3g}",
        worth is not None and worth.checked,
    )


def _window(quantity: Quantity, procedure: Procedure | None) -> Window | None:
    if procedure is None:
        return None
    if quantity is Quantity.NOZZLE_TEMPERATURE:
        return procedure.nozzle_temperature
    return procedure.air_flow if quantity is Quantity.AIR_FLOW else None


def _end(limit: float | None, quantity: Quantity) -> str:
    return "…" if limit is None else trimmed(limit, quantity)
