"""Weld records as a fold of append-only events."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from steadybead_domain.ids import StationId
from steadybead_domain.weld_details import WeldDetails

NO_DETAILS = WeldDetails()


class WeldEventKind(StrEnum):
    """What happened to a weld record; `late` enters a finished one afterwards."""

    START = "start"
    STOP = "stop"
    LATE = "late"


@dataclass(frozen=True, slots=True)
class WeldEvent:
    """A start or stop as it was told; `actor` is who said so, `via` is mqtt, http or page.

    `stop` is set for a late entry only: the end of the record.
    """

    kind: WeldEventKind
    weld: str
    station: StationId
    gun: str
    time: int
    actor: str
    via: str
    procedure: str | None = None
    procedure_revision: int | None = None
    job: str | None = None
    seam: str | None = None
    welder: str | None = None
    details: WeldDetails = NO_DETAILS
    stop: int | None = None


@dataclass(frozen=True, slots=True)
class Weld:
    """A weld record: one seam, or one working stretch on it. `stop` None: still open.

    `ended_by`: empty, `stop`, `late entry`, or `next start` where another record began on the
    same gun. `amendments` counts the corrections that are in these figures.
    """

    id: str
    station: StationId
    gun: str
    start: int
    stop: int | None = None
    procedure: str | None = None
    procedure_revision: int | None = None
    job: str | None = None
    seam: str | None = None
    welder: str | None = None
    started_by: str = ""
    stopped_by: str = ""
    ended_by: str = ""
    details: WeldDetails = NO_DETAILS
    amendments: int = 0


def fold(events: Iterable[WeldEvent]) -> dict[str, Weld]:
    """Fold events in the order they were committed into weld records by id.

    A repeated start or stop changes nothing. A start on a gun whose record is open ends that
    record at the new start. A stop before its start is held at the start: length 0. A late entry
    ends nothing and leaves the gun's running record alone.
    """
    welds: dict[str, Weld] = {}
    open_on: dict[tuple[StationId, str], str] = {}
    for event in events:
        place = (event.station, event.gun)
        known = welds.get(event.weld)
        if event.kind is WeldEventKind.START and known is None:
            if (previous := open_on.get(place)) is not None:
                welds[previous] = _ended(welds[previous], event, "next start")
            welds[event.weld] = _started(event)
            open_on[place] = event.weld
        elif event.kind is WeldEventKind.LATE and known is None:
            ended = replace(event, time=event.time if event.stop is None else event.stop)
            welds[event.weld] = _ended(_started(event), ended, "late entry")
        elif event.kind is WeldEventKind.STOP and known is not None and known.stop is None:
            welds[event.weld] = _ended(known, event, "stop")
            open_on.pop(place, None)
    return welds


def _started(event: WeldEvent) -> Weld:
    return Weld(
        event.weld,
        event.station,
        event.gun,
        event.time,
        None,
        event.procedure,
        event.procedure_revision,
        event.job,
        event.seam,
        event.welder,
        started_by=event.actor,
        details=event.details,
    )


def _ended(weld: Weld, event: WeldEvent, ended_by: str) -> Weld:
    return replace(
        weld, stop=max(event.time, weld.start), stopped_by=event.actor, ended_by=ended_by
    )
