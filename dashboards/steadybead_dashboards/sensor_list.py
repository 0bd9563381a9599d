"""The list of sensors: each channel, the instrument behind it, and what its value is worth."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.sensor_words import StateView, expanded_text, state_view
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.weld_list import Choice
from steadybead_dashboards.words import QUANTITIES, printed
from steadybead_domain.calibration.due import Due
from steadybead_domain.calibration.model import Instrument
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.plant import Channel, Plant
from steadybead_domain.uncertainty.budget import Budget

NO_READING = mark("no reading now")
NEVER_HEARD = mark("never heard")


@dataclass(frozen=True, slots=True)
class SensorView:
    """What is known of a channel; None where nothing is. `ever_heard`: a reading ever came."""

    channel: Channel
    instrument: Instrument | None
    due: Due | None
    value: float | None
    budget: Budget | None
    ever_heard: bool = True


@dataclass(frozen=True, slots=True)
class SensorRow:
    """One channel in words; `expanded` is U of the newest value, empty where none is kept.

    `value` is empty where there is none, and `without` says then what is the matter.
    """

    href: str
    label: str
    gun: str
    serial: str
    kind: str
    state: StateView
    failed: bool
    value: str
    without: str
    expanded: str


@dataclass(frozen=True, slots=True)
class StationSensors:
    """The rows of one station."""

    id: str
    name: str
    rows: tuple[SensorRow, ...]


@dataclass(frozen=True, slots=True)
class DueRow:
    """A finding on a calibration: where, what, and what to do."""

    href: str
    place: str
    what: str
    to_do: str
    urgent: bool


@dataclass(frozen=True, slots=True)
class SensorListPage:
    """All sensors, or those of one station, after what is due."""

    template: ClassVar[str] = "sensors.html"
    shell: Shell
    stations: tuple[StationSensors, ...]
    choices: tuple[Choice, ...]
    due: tuple[DueRow, ...]


def sensor_list_page(
    plant: Plant,
    sensors: Sequence[SensorView],
    findings: Iterable[Finding],
    shell: Shell,
    station: str = "",
) -> SensorListPage:
    """Build the page; `station` is the one chosen, empty for all."""
    names = {s.id: s.name or s.id.station for s in plant.stations}
    groups = tuple(
        StationSensors(
            str(s.id),
            names[s.id],
            tuple(_row(v, shell) for v in sensors if v.channel.id.station_id == s.id),
        )
        for s in plant.stations
    )
    choices = tuple(Choice(str(s.id), names[s.id], str(s.id) == station) for s in plant.stations)
    due = tuple(due_row(f, plant) for f in findings if station in ("", str(f.station)))
    return SensorListPage(shell, tuple(g for g in groups if g.rows), choices, due)


def due_row(finding: Finding, plant: Plant) -> DueRow:
    """Show a finding on a calibration."""
    station = plant.station(finding.station)
    place = finding.station.station if station is None or not station.name else station.name
    href = "/sensors" if finding.channel is None else f"/sensors/{finding.channel}"
    return DueRow(href, place, finding.words, finding.next_step, "soon" not in finding.kind)


def day_of(time_us: int | None, shell: Shell) -> str:
    """Write a day in the site's zone; empty where there is none."""
    return "" if time_us is None else shell.moment(time_us).day


def _row(view: SensorView, shell: Shell) -> SensorRow:
    quantity, instrument = view.channel.quantity, view.instrument
    due_day = "" if view.due is None else day_of(view.due.due, shell)
    unit = QUANTITIES[quantity].unit
    return SensorRow(
        f"/sensors/{view.channel.id}",
        QUANTITIES[quantity].label,
        view.channel.gun or "",
        "" if instrument is None else instrument.serial,
        "" if instrument is None else instrument.kind,
        state_view(view.due, due_day),
        view.due is not None and view.due.failed_as_found,
        "" if view.value is None else f"{printed(view.value, quantity)} {unit}".rstrip(),
        "" if view.value is not None else NO_READING if view.ever_heard else NEVER_HEARD,
        "" if view.budget is None else expanded_text(view.budget.expanded, quantity),
    )
