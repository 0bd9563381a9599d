"""Which weld records are open, as far as the collector needs it to understand a stop."""

from dataclasses import dataclass, replace

from steadybead_domain.ids import StationId
from steadybead_domain.procedures import Procedure
from steadybead_domain.welds import WeldEvent, WeldEventKind

Place = tuple[StationId, str]
_REMEMBERED = 10_000


@dataclass(slots=True)
class _Place:
    open: str | None = None
    last_stop: int | None = None
    last: str | None = None


class WeldLog:
    """Follows committed events, its own and those of people, in the order of their commits."""

    def __init__(self) -> None:
        self._places: dict[Place, _Place] = {}
        self._started: dict[str, Place] = {}
        self._revisions: dict[str, int] = {}

    def follow(self, event: WeldEvent) -> None:
        """Take a committed event; a repeat changes nothing."""
        place = self._places.setdefault((event.station, event.gun), _Place())
        if event.kind is WeldEventKind.START:
            if event.weld not in self._started:
                self._started[event.weld] = (event.station, event.gun)
                place.open = place.last = event.weld
            while len(self._started) > _REMEMBERED:
                del self._started[next(iter(self._started))]
        elif place.open == event.weld:
            place.open, place.last_stop = None, event.time

    def follow_procedure(self, procedure: Procedure) -> None:
        """Take a committed revision of a procedure."""
        known = self._revisions.get(procedure.id, 0)
        self._revisions[procedure.id] = max(known, procedure.revision)

    def last_stop(self, station: StationId, gun: str) -> int | None:
        """Tell when the last record of a gun was stopped, as far as it is remembered."""
        place = self._places.get((station, gun))
        return None if place is None else place.last_stop

    def complete(self, event: WeldEvent) -> WeldEvent | None:
        """Give a start the revision of its procedure, and a stop without id the record it ends.

        None if such a stop finds no record open on its gun.
        """
        if event.kind is WeldEventKind.START:
            return replace(event, procedure_revision=self._revisions.get(event.procedure or ""))
        if event.weld:
            return event
        place = self._places.get((event.station, event.gun), _Place())
        if place.open is not None:
            return replace(event, weld=place.open)
        if place.last is not None and place.last_stop == event.time:
            return replace(event, weld=place.last)  # the same stop, sent again
        return None

    def fault(self, event: WeldEvent) -> str | None:
        """Tell why an event that the store did not keep is wrong; None if it is a repeat."""
        place = self._started.get(event.weld)
        if place is None:
            return f"no record {event.weld} was started"
        if place != (event.station, event.gun):
            return f"record {event.weld} belongs to {place[0]} gun {place[1]}"
        return None
