"""The work list as a page to print: what, where, when, with a box to tick."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.shell import Shell
from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.plant import Plant
from steadybead_domain.times import HOUR
from steadybead_domain.work_list import WorkItem, WorkKind

KINDS = {
    WorkKind.FILTER: mark("Filter change"),
    WorkKind.CALIBRATION: mark("Calibration"),
    WorkKind.ELEMENT: mark("Element check"),
    WorkKind.CHECK: mark("Check"),
}


@dataclass(frozen=True, slots=True)
class WorkRow:
    """One piece of work; `hours` of working time are left, empty where it is due."""

    kind: str
    place: str
    gun: str
    what: str
    to_do: str
    day: str
    between: str
    hours: str
    overdue: bool
    href: str


@dataclass(frozen=True, slots=True)
class WorkListPage:
    """All that is to be done, the earliest first."""

    template: ClassVar[str] = "work-list.html"
    shell: Shell
    rows: tuple[WorkRow, ...]


def work_list_page(plant: Plant, items: Iterable[WorkItem], shell: Shell) -> WorkListPage:
    """Build the page."""
    names = {s.id: s.name or s.id.station for s in plant.stations}
    return WorkListPage(
        shell,
        tuple(
            _row(item, names.get(item.station, item.station.station), plant.calendar, shell)
            for item in items
        ),
    )


def _row(item: WorkItem, place: str, calendar: WorkCalendar, shell: Shell) -> WorkRow:
    overdue = item.is_overdue(shell.now)
    between = ""
    if item.earliest is not None and item.latest is not None:
        between = f"{shell.moment(item.earliest).day} – {shell.moment(item.latest).day}"
    left = 0.0 if overdue else calendar.working(shell.now, item.due) / HOUR
    return WorkRow(
        KINDS[item.kind],
        place,
        item.gun or "",
        item.what,
        item.to_do,
        shell.moment(item.due).day,
        between,
        "" if overdue else f"{left:.0f}",
        overdue,
        item.href,
    )
