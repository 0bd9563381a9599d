"""Weld records as rows of words and times."""

from collections.abc import Mapping
from dataclasses import dataclass

from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment, span_text
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure
from steadybead_domain.welds import Weld


@dataclass(frozen=True, slots=True)
class WeldRow:
    """One weld record; `stop` is None and `running` true while it is open.

    `verdict` is the word of its newest verdict, empty where none holds.
    """

    id: str
    href: str
    station: str
    place: str
    gun: str
    start: Moment
    stop: Moment | None
    running: bool
    length_text: str
    job: str
    seam: str
    welder: str
    procedure: str
    started_by: str
    stopped_by: str
    ended_by: str
    procedure_id: str = ""
    procedure_revision: int | None = None
    verdict: str = ""
    excursions: int = 0


def weld_row(
    weld: Weld, plant: Plant, procedures: Mapping[str, Procedure], shell: Shell
) -> WeldRow:
    """Show one weld record; a procedure is shown by its title where that is known."""
    held_to = procedures.get(weld.procedure or "")
    station = plant.station(weld.station)
    end = shell.now if weld.stop is None else weld.stop
    return WeldRow(
        weld.id,
        f"/welds/{weld.id}",
        str(weld.station),
        station.name if station is not None and station.name else weld.station.station,
        weld.gun,
        shell.moment(weld.start),
        None if weld.stop is None else shell.moment(weld.stop),
        weld.stop is None,
        span_text(end - weld.start),
        weld.job or "",
        weld.seam or "",
        (weld.welder or "") if shell.may("see welders") else "",
        (weld.procedure or "") if held_to is None else held_to.title,
        weld.started_by,
        weld.stopped_by,
        weld.ended_by,
        weld.procedure or "",
        weld.procedure_revision,
    )
