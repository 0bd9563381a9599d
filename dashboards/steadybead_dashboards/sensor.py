"""The page of one sensor: its history, its uncertainty term by term, recorded and recalibrated."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.expected import Expected
from steadybead_dashboards.sensor_list import DueRow, SensorView, day_of, due_row
from steadybead_dashboards.sensor_words import (
    ENTRIES,
    StateView,
    shown_unit,
    signed,
    state_view,
    two_figures,
)
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_dashboards.words import QUANTITIES
from steadybead_dashboards.worth_view import WorthView, worth_view
from steadybead_domain.calibration.history import Entry, EntryKind
from steadybead_domain.calibration.model import Fitting, Instrument
from steadybead_domain.conversion.specs import (
    Conversion,
    CurrentLoop,
    Linear,
    PulseCounter,
    SquareRoot,
    Thermocouple,
    VoltageLoop,
)
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.plant import Channel, Plant
from steadybead_domain.uncertainty.worth import Worth


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One line of the history."""

    at: Moment
    what: str
    failed: bool
    serial: str
    error: str
    author: str
    href: str


@dataclass(frozen=True, slots=True)
class FittingView:
    """The instrument that is fitted now, with the record that says so."""

    record: str
    revision: int
    since: Moment
    instrument: str
    serial: str
    kind: str
    tolerance: str


@dataclass(frozen=True, slots=True)
class SpareView:
    """An instrument that may be fitted here."""

    id: str
    text: str


@dataclass(frozen=True, slots=True)
class SensorPage:
    """One channel; `worth` is None where no budget is kept or nothing is heard now.

    `expected` says what its readings would come as, where none ever came.
    """

    template: ClassVar[str] = "sensor.html"
    shell: Shell
    channel: str
    quantity: str
    label: str
    unit: str
    decimals: int
    engineering_unit: str
    station: str
    place: str
    gun: str
    wiring: str
    meter: str
    state: StateView
    fitting: FittingView | None
    spares: tuple[SpareView, ...]
    worth: WorthView | None
    why_no_worth: str
    due: tuple[DueRow, ...]
    history: tuple[HistoryRow, ...]
    older: int
    hint: str
    expected: Expected | None


@dataclass(frozen=True, slots=True)
class SensorFacts:
    """All that the page is made of, as the records give it; `older` entries were left out."""

    view: SensorView
    fitting: tuple[str, int, Fitting] | None
    spares: Sequence[Instrument]
    worth: Worth | None
    assumptions: Sequence[str]
    history: Sequence[tuple[Entry, Instrument | None]]
    findings: Iterable[Finding]
    why_no_worth: str = ""
    hint: str = ""
    older: int = 0
    expected: Expected | None = None


def sensor_page(plant: Plant, facts: SensorFacts, shell: Shell) -> SensorPage:
    """Build the page."""
    view, channel = facts.view, facts.view.channel
    station = plant.station(channel.id.station_id)
    words = QUANTITIES[channel.quantity]
    due_day = "" if view.due is None else day_of(view.due.due, shell)
    return SensorPage(
        shell=shell,
        channel=str(channel.id),
        quantity=channel.quantity.value,
        label=words.label,
        unit=words.unit,
        decimals=words.decimals,
        engineering_unit=channel.unit,
        station=str(channel.id.station_id),
        place=station.name if station is not None and station.name else channel.id.station,
        gun=channel.gun or "",
        wiring=_wiring(channel),
        meter=_meter(channel),
        state=state_view(view.due, due_day),
        fitting=_fitting(facts, shell),
        spares=tuple(SpareView(i.id, f"{i.serial}, {i.kind}") for i in facts.spares),
        worth=None if facts.worth is None else worth_view(facts.worth, channel, facts.assumptions),
        why_no_worth=facts.why_no_worth,
        due=tuple(due_row(f, plant) for f in facts.findings),
        history=tuple(_history_row(e, i, channel, shell) for e, i in facts.history),
        older=facts.older,
        hint=facts.hint,
        expected=None if view.ever_heard else facts.expected,
    )


def _fitting(facts: SensorFacts, shell: Shell) -> FittingView | None:
    instrument = facts.view.instrument
    if facts.fitting is None or instrument is None:
        return None
    record, revision, fitting = facts.fitting
    return FittingView(
        record,
        revision,
        shell.moment(fitting.start),
        instrument.id,
        instrument.serial,
        instrument.kind,
        f"± {instrument.tolerance:g} {shown_unit(instrument.unit)}",
    )


def _history_row(
    entry: Entry, instrument: Instrument | None, channel: Channel, shell: Shell
) -> HistoryRow:
    unit = shown_unit(channel.unit if instrument is None else instrument.unit)
    error = "" if entry.error is None else f"{signed(entry.error)} {unit}"
    if entry.expanded is not None:
        error = f"{error} (U {two_figures(entry.expanded)})".strip()
    calibrated = entry.kind in (EntryKind.CALIBRATED, EntryKind.FAILED_AS_FOUND)
    return HistoryRow(
        shell.moment(entry.time),
        ENTRIES[entry.kind],
        entry.kind is EntryKind.FAILED_AS_FOUND,
        "" if instrument is None else instrument.serial,
        error,
        entry.author,
        f"/calibrations/{entry.reference}" if calibrated else "",
    )


def _wiring(channel: Channel) -> str:
    how = channel.conversion
    if isinstance(how, Thermocouple):
        junction = how.cold_junction
        where = junction if isinstance(junction, str) else f"{junction:g} °C, fixed"
        return f"thermocouple type {how.type}, mV; cold junction {where}"
    if how is None:
        return f"sends {channel.wire_unit}"
    return f"sends {channel.wire_unit}; {_WIRINGS[type(how)]}"


_WIRINGS: dict[type[Conversion], str] = {
    CurrentLoop: "4–20 mA loop",
    VoltageLoop: "voltage loop",
    PulseCounter: "pulses counted",
    SquareRoot: "flow element, square root of its pressure drop",
    Linear: "straight line",
}


def _meter(channel: Channel) -> str:
    if channel.flow is None:
        return ""
    meter = channel.flow
    principle = meter.principle.value.replace("_", " ")
    return f"{principle}, {meter.reference.value} figures; position {meter.position}"
