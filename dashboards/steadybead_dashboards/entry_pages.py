"""Pages for entering: a reference check at the gun, a calibration at the bench."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import ClassVar

from steadybead_dashboards.sensor_words import KINDS, short, shown_unit, signed
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_dashboards.weld_list import Choice
from steadybead_dashboards.weld_rows import WeldRow, weld_row
from steadybead_domain.calibration.impact import Span
from steadybead_domain.calibration.model import Calibration, Instrument
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Plant, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.welds import Weld


@dataclass(frozen=True, slots=True)
class GunChoice:
    """A gun that can be checked: its channels, empty where it has none."""

    gun: str
    nozzle: str
    flow: str
    flow_reference: str


@dataclass(frozen=True, slots=True)
class CheckPage:
    """Entry of a reference check; `guns` are those of the station that is chosen."""

    template: ClassVar[str] = "check.html"
    shell: Shell
    stations: tuple[Choice, ...]
    station: str
    name: str
    guns: tuple[GunChoice, ...]
    gun: str
    nozzles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class InstrumentChoice:
    """An instrument to calibrate."""

    id: str
    text: str
    unit: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class CalibrationEntryPage:
    """Entry of a calibration."""

    template: ClassVar[str] = "calibration-entry.html"
    shell: Shell
    instruments: tuple[InstrumentChoice, ...]


@dataclass(frozen=True, slots=True)
class PointRow:
    """One point as it was entered; `error` is as found less reference."""

    reference: str
    as_found: str
    as_left: str
    error: str


@dataclass(frozen=True, slots=True)
class InDoubt:
    """The verdict of a record before the find, and with the error out: grown, and full."""

    before: str
    grown: str
    full: str


@dataclass(frozen=True, slots=True)
class DoubtView:
    """A stretch in doubt with the weld records that it touches."""

    channel: str
    start: Moment
    end: Moment
    error: str
    good: str
    welds: tuple[WeldRow, ...]
    left_out: int
    verdicts: Mapping[str, InDoubt]


@dataclass(frozen=True, slots=True)
class CalibrationPage:
    """One calibration, the newest of `revisions`, with what its error puts in doubt."""

    template: ClassVar[str] = "calibration.html"
    shell: Shell
    id: str
    serial: str
    kind: str
    unit: str
    performed: Moment
    effective: Moment | None
    correction: str
    points: tuple[PointRow, ...]
    expanded: str
    reference_instrument: str
    certificate: str
    due: str
    valid: str
    note: str
    author: str
    entered: Moment
    withdrawn: bool
    revisions: tuple[tuple[int, Moment, str], ...]
    tolerance: str
    error: str
    doubts: tuple[DoubtView, ...]


def check_page(
    plant: Plant, station: Station | None, gun: str, nozzles: Iterable[str], shell: Shell
) -> CheckPage:
    """Build the page; without a station it asks for one."""
    choices = tuple(
        Choice(str(s.id), s.name or s.id.station, station is not None and s.id == station.id)
        for s in plant.stations
    )
    guns = () if station is None else tuple(_gun(station, g) for g in station.guns)
    chosen = gun if gun in [g.gun for g in guns] else (guns[0].gun if guns else "")
    name = "" if station is None else (station.name or station.id.station)
    place = "" if station is None else str(station.id)
    return CheckPage(
        shell, choices, place, name, guns, chosen, tuple(dict.fromkeys(n for n in nozzles if n))
    )


def calibration_entry_page(
    instruments: Iterable[Instrument], chosen: str, shell: Shell
) -> CalibrationEntryPage:
    """Build the page; `chosen` is an instrument's id, or empty."""
    rows = [
        InstrumentChoice(i.id, f"{i.serial}, {i.kind}", i.unit, i.id == chosen) for i in instruments
    ]
    return CalibrationEntryPage(shell, tuple(rows))


@dataclass(frozen=True, slots=True)
class Doubt:
    """What the page is told of a stretch in doubt."""

    channel: ChannelId
    span: Span
    welds: tuple[Weld, ...]
    left_out: int
    verdicts: Mapping[str, InDoubt] = field(default_factory=dict)


def calibration_page(
    plant: Plant,
    revisions: tuple[Calibration, ...],
    instrument: Instrument,
    doubts: Iterable[Doubt],
    error: float | None,
    shell: Shell,
) -> CalibrationPage:
    """Build the page; `revisions` oldest first, `error` in the instrument's unit."""
    newest = revisions[-1]
    unit = shown_unit(newest.unit)
    own = shown_unit(instrument.unit)
    return CalibrationPage(
        shell=shell,
        id=newest.id,
        serial=instrument.serial,
        kind=instrument.kind,
        unit=unit,
        performed=shell.moment(newest.performed),
        effective=None if newest.effective == newest.performed else shell.moment(newest.effective),
        correction=KINDS[newest.kind],
        points=tuple(
            PointRow(
                short(p.reference),
                "–" if p.as_found is None else short(p.as_found),
                "–" if p.left is None else short(p.left),
                "–" if p.error_found is None else signed(p.error_found),
            )
            for p in newest.points
        ),
        expanded=f"{newest.expanded_uncertainty:g} {unit} (k = {newest.coverage_factor:g})",
        reference_instrument=newest.reference_instrument,
        certificate=newest.certificate,
        due="" if newest.due is None else shell.moment(newest.due).day,
        valid=""
        if newest.valid_low is None or newest.valid_high is None
        else f"{newest.valid_low:g} – {newest.valid_high:g} {unit}",
        note=newest.note,
        author=newest.author,
        entered=shell.moment(newest.entered),
        withdrawn=newest.withdrawn,
        revisions=tuple((r.revision, shell.moment(r.entered), r.author) for r in revisions),
        tolerance=f"± {instrument.tolerance:g} {own}",
        error="" if error is None else f"{signed(error)} {own}",
        doubts=tuple(_doubt(d, plant, own, shell) for d in doubts),
    )


def _doubt(doubt: Doubt, plant: Plant, unit: str, shell: Shell) -> DoubtView:
    good = doubt.span.good
    return DoubtView(
        str(doubt.channel),
        shell.moment(doubt.span.start),
        shell.moment(doubt.span.end),
        f"{signed(doubt.span.error)} {unit}",
        "" if good is None else good.id,
        tuple(weld_row(w, plant, {}, shell) for w in doubt.welds),
        doubt.left_out,
        doubt.verdicts,
    )


def _gun(station: Station, gun: str) -> GunChoice:
    nozzle = station.channel_of(Quantity.NOZZLE_TEMPERATURE, gun)
    flow = station.channel_of(Quantity.AIR_FLOW, gun)
    reference = "" if flow is None or flow.flow is None else flow.flow.reference.value
    return GunChoice(
        gun,
        "" if nozzle is None else str(nozzle.id),
        "" if flow is None else str(flow.id),
        reference,
    )
