"""Weld records as rows of words and times."""

from dataclasses import dataclass

from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment, span_text
from steadybead_domain.plant import Plant
from steadybead_domain.welds import Weld


@dataclass(frozen=True, slots=True)
class WeldRow:
    """One weld record; `stop` is None and `running` true while it is open."""

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


def weld_row(weld: Weld, plant: Plant, shell: Shell) -> WeldRow:
    """Show one weld record."""
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
        weld.procedure or "",
        weld.started_by,
        weld.stopped_by,
        weld.ended_by,
    )
