"""The maintenance page: what to do, in order; the filters ahead of their limits; what was done."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.finding_cards import FindingCard, finding_cards
from steadybead_dashboards.forecast_drawing import Drawing, Forecast, drawing
from steadybead_dashboards.sensor_list import DueRow, due_row
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.standing import Standing
from steadybead_domain.ids import StationId
from steadybead_domain.maintenance import Drop, FilterChange, FilterWork
from steadybead_domain.plant import Plant, Station
from steadybead_domain.quantities import Quantity

WORKS = {
    FilterWork.CHANGED: mark("changed"),
    FilterWork.TAPPED_OUT: mark("tapped out"),
    FilterWork.INSPECTED: mark("inspected"),
}
NOT_MEASURED = mark("The pressure drop over the filter is not measured here: no forecast in Pa.")
NEVER_HEARD = mark("Nothing was ever heard of the pressure drop over this filter: no forecast.")
NO_LIMIT = mark("The plant file names no limit for this filter: no forecast.")
TOO_EARLY = mark("No forecast yet: it takes at least eight hours of running since the last change.")
ONE_POINT = mark("No curve yet: one point is known since the last change, and a curve takes two.")
AT_LIMIT = mark("The limit is reached.")
ABOVE = mark("The drop now lies above the limit.")


@dataclass(frozen=True, slots=True)
class FilterCard:
    """One station's filter; `left` is empty where no forecast stands, and `why` says why.

    `undrawn` says why there is no drawing though something is known; else it is empty.
    `unheard` is the address of the drop's sensor where it was never heard; else it is empty.
    """

    station: str
    name: str
    measured: bool
    now: str
    limit: str
    left: str
    interval: str
    why: str
    told: Moment | None
    changed: Moment | None
    drawing: Drawing | None
    undrawn: str = ""
    unheard: str = ""


@dataclass(frozen=True, slots=True)
class DoneRow:
    """Work on a filter, with the drop on either side; empty where it is not known.

    `unchanged`: the drop is no lower than before, though the work should have lowered it.
    """

    id: str
    when: Moment
    place: str
    work: str
    before: str
    after: str
    author: str
    note: str
    unchanged: bool = False


@dataclass(frozen=True, slots=True)
class FilterFacts:
    """What is known of one station's filter.

    `told`: what the diagnosis said of it since the last change, in order; `now`: the drop of the
    last minutes of running; `changed`: the last work that let the forecast begin anew;
    `ever_heard`: the drop was ever heard, where it is measured.
    """

    told: Sequence[Finding] = ()
    now: Drop | None = None
    changed: FilterChange | None = None
    ever_heard: bool = True


@dataclass(frozen=True, slots=True)
class Done:
    """Work on a filter, with the drop before and after."""

    change: FilterChange
    before: Drop | None
    after: Drop | None


@dataclass(frozen=True, slots=True)
class MaintenancePage:
    """What to do first, then what is coming, then what was done."""

    template: ClassVar[str] = "maintenance.html"
    shell: Shell
    cards: tuple[FindingCard, ...]
    due: tuple[DueRow, ...]
    filters: tuple[FilterCard, ...]
    done: tuple[DoneRow, ...]


def maintenance_page(
    plant: Plant,
    shell: Shell,
    findings: Iterable[Standing],
    due: Iterable[Finding],
    filters: Mapping[StationId, FilterFacts],
    done: Iterable[Done],
) -> MaintenancePage:
    """Build the page; `findings` are those that stand, the most urgent first."""
    names = {s.id: s.name or s.id.station for s in plant.stations}
    return MaintenancePage(
        shell,
        finding_cards(findings, plant, shell),
        tuple(due_row(f, plant) for f in due),
        tuple(_filter(s, filters.get(s.id, FilterFacts()), shell) for s in plant.stations),
        tuple(_done(d, names, shell) for d in done),
    )


def drop_text(drop: Drop | None) -> str:
    """Write `138 Pa, 53 L/min`; empty where it is not known."""
    if drop is None:
        return ""
    flow = "" if drop.flow_l_min is None else f", {drop.flow_l_min:.0f} L/min"
    return f"{drop.drop_pa:.0f} Pa{flow}"


def hours_text(hours: float) -> str:
    """Write running hours as finely as they can be known."""
    return f"{hours:.1f}" if hours < 10 else f"{hours:.0f}"


def _filter(station: Station, facts: FilterFacts, shell: Shell) -> FilterCard:
    channel = station.channel_of(Quantity.FILTER_PRESSURE_DROP)
    limit = station.air.intake_filter_limit_pa
    last = facts.told[-1] if facts.told else None
    forecast = None if last is None or limit is None else _forecast(last)
    full = last is not None and last.kind == "filter_limit"
    shown = None if full else forecast
    told = [(f.time, f.value) for f in facts.told if f.value is not None]
    drawn = None if limit is None else drawing(told, limit, shown)
    bare = drawn is not None and not drawn.past and not drawn.fan
    return FilterCard(
        str(station.id),
        station.name or station.id.station,
        channel is not None,
        drop_text(facts.now),
        "" if limit is None else f"{limit:.0f} Pa",
        "" if shown is None else hours_text(shown.remaining_h),
        "" if shown is None else f"{hours_text(shown.low_h)} – {hours_text(shown.high_h)}",
        _why(station, facts, full=full, known=shown is not None),
        None if last is None else shell.moment(last.time),
        None if facts.changed is None else shell.moment(facts.changed.time),
        None if bare else drawn,
        ONE_POINT if bare else "",
        "" if channel is None or facts.ever_heard else f"/sensors/{channel.id}",
    )


def _why(station: Station, facts: FilterFacts, *, full: bool, known: bool) -> str:
    """Say why no hours are shown, or what is beyond them; empty where nothing is to be said."""
    limit = station.air.intake_filter_limit_pa
    if station.channel_of(Quantity.FILTER_PRESSURE_DROP) is None:
        return NOT_MEASURED
    if not facts.ever_heard:
        return NEVER_HEARD
    if limit is None:
        return NO_LIMIT
    if full:
        return AT_LIMIT
    if facts.now is not None and facts.now.drop_pa > limit:
        return ABOVE
    return "" if known else TOO_EARLY


def _forecast(finding: Finding) -> Forecast | None:
    numbers = dict(finding.evidence)
    hours = [numbers.get(name) for name in ("remaining_h", "low_h", "high_h")]
    known = [float(h) for h in hours if isinstance(h, int | float)]
    if len(known) != 3 or finding.value is None:
        return None
    return Forecast(finding.value, *known)


def _done(done: Done, names: Mapping[StationId, str], shell: Shell) -> DoneRow:
    change = done.change
    return DoneRow(
        change.id,
        shell.moment(change.time),
        names.get(change.station, change.station.station),
        WORKS[change.kind],
        drop_text(done.before),
        drop_text(done.after),
        change.author,
        change.note,
        unchanged=_is_unchanged(done),
    )


def _is_unchanged(done: Done) -> bool:
    """Tell whether the drop is no lower after a change, at no more than a tenth more air."""
    if not done.change.begins_anew or done.before is None or done.after is None:
        return False
    before, after = done.before.flow_l_min, done.after.flow_l_min
    much_more = before is not None and after is not None and after > 1.1 * before
    return done.after.drop_pa >= done.before.drop_pa and not much_more
