"""The page of one weld record and its trace."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from steadybead_dashboards.cut_view import CutFacts, CutView, cut_view
from steadybead_dashboards.sensor_words import expanded_text, figure
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_dashboards.verdict_view import VerdictView, verdict_view
from steadybead_dashboards.weld_log import (
    AmendmentView,
    LogGroup,
    SignatureView,
    amendment_views,
    log_groups,
    signature_views,
)
from steadybead_dashboards.weld_rows import WeldRow, weld_row
from steadybead_dashboards.weld_state import AlarmRow, FilterState, SensorState
from steadybead_dashboards.words import GUN_MAIN, QUANTITIES, trimmed
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import SECOND, format_rfc3339
from steadybead_domain.verdict.model import Verdict
from steadybead_domain.weld_amendments import Amendment, Signature
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

    `mean` and `expanded` say what the mean is worth, empty where that is not known. `band` is U
    of an average over the decision rule's time, None where it is not known.
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
    band: float | None = None


@dataclass(frozen=True, slots=True)
class WeldFacts:
    """What is on record about a weld beside its head and its readings."""

    verdict: Verdict | None = None
    worths: Mapping[str, MeanWorth] = field(default_factory=dict)
    amendments: Sequence[Amendment] = ()
    signatures: Sequence[Signature] = ()
    alarms: Sequence[AlarmRow] = ()
    sensors: Sequence[SensorState] = ()
    filter: FilterState | None = None
    approved_by: str = ""
    cuts: Sequence[CutFacts] = ()


@dataclass(frozen=True, slots=True)
class WeldPage:
    """One weld record; the trace runs from `trace_start` to `trace_end` (60 s on either side).

    `expired`: the welder's qualification had run out, as far as the reader may know.
    """

    template: ClassVar[str] = "weld.html"
    shell: Shell
    weld: WeldRow
    procedure: Procedure | None
    channels: tuple[TraceChannel, ...]
    trace_start: str
    trace_end: str
    made: Moment
    verdict: VerdictView | None
    log: tuple[LogGroup, ...]
    amendments: tuple[AmendmentView, ...]
    signatures: tuple[SignatureView, ...]
    alarms: tuple[AlarmRow, ...]
    sensors: tuple[SensorState, ...]
    filter: FilterState | None
    approved_by: str
    amended: int
    cuts: tuple[CutView, ...]

    @property
    def unsigned(self) -> tuple[bool, bool]:
        """Tell whether the welder's and the supervisor's sign-off are missing or too old."""
        good = {s.as_welder for s in self.signatures if not s.stale}
        return True not in good, False not in good


def weld_page(
    plant: Plant,
    weld: Weld,
    procedure: Procedure | None,
    shell: Shell,
    facts: WeldFacts | None = None,
) -> WeldPage:
    """Build the page; `procedure` is the revision under which the record was started."""
    end = shell.now if weld.stop is None else weld.stop + MARGIN_US
    known = {} if procedure is None else {procedure.id: procedure}
    facts = facts or WeldFacts()
    own = shell.person is not None and bool(weld.welder) and shell.person.name == weld.welder
    sees = own or shell.may("see welders")
    return WeldPage(
        shell,
        weld_row(weld, plant, known, shell),
        procedure,
        tuple(_channels(plant, weld, procedure, facts)),
        format_rfc3339(weld.start - MARGIN_US),
        format_rfc3339(end),
        shell.moment(shell.now),
        None if facts.verdict is None else verdict_view(facts.verdict, shell),
        log_groups(weld, shell, sees_welder=sees),
        amendment_views(facts.amendments, shell, sees_welder=sees),
        signature_views(weld, facts.signatures, shell, sees_welder=sees),
        tuple(facts.alarms),
        tuple(facts.sensors),
        facts.filter,
        facts.approved_by,
        weld.amendments,
        tuple(cut_view(c, shell) for c in reversed(facts.cuts)),
    )


def _channels(
    plant: Plant, weld: Weld, procedure: Procedure | None, facts: WeldFacts
) -> list[TraceChannel]:
    station = plant.station(weld.station)
    found = [] if station is None else [station.channel_of(q, weld.gun) for q in GUN_MAIN]
    judgements = () if facts.verdict is None else facts.verdict.judgements
    bands = {j.quantity: j.guarded.expanded for j in judgements if j.guarded is not None}
    return [
        _channel(
            str(c.id),
            c.quantity,
            procedure,
            facts.worths.get(str(c.id)),
            bands.get(c.quantity),
        )
        for c in found
        if c is not None
    ]


def _channel(
    channel: str,
    quantity: Quantity,
    procedure: Procedure | None,
    worth: MeanWorth | None,
    band: float | None,
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
        band,
    )


def _window(quantity: Quantity, procedure: Procedure | None) -> Window | None:
    if procedure is None:
        return None
    if quantity is Quantity.NOZZLE_TEMPERATURE:
        return procedure.nozzle_temperature
    return procedure.air_flow if quantity is Quantity.AIR_FLOW else None


def _end(limit: float | None, quantity: Quantity) -> str:
    return "…" if limit is None else trimmed(limit, quantity)
