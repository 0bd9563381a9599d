"""Which weld record and which procedure hold on a gun at each grid step."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from steadybead_domain.diagnosis.grid import STEP
from steadybead_domain.ids import StationId
from steadybead_domain.procedures import Procedure
from steadybead_domain.welds import WeldEvent, WeldEventKind


class Procedures:
    """The procedures known, by id and revision; the newest revision stands for the id."""

    def __init__(self, procedures: Mapping[str, Procedure]) -> None:
        self._known: dict[tuple[str, int], Procedure] = {}
        self._newest: dict[str, Procedure] = {}
        for procedure in procedures.values():
            self.add(procedure)

    def add(self, procedure: Procedure) -> None:
        """Take a revision."""
        self._known[procedure.id, procedure.revision] = procedure
        newest = self._newest.get(procedure.id)
        if newest is None or procedure.revision >= newest.revision:
            self._newest[procedure.id] = procedure

    def find(self, name: str | None, revision: int | None = None) -> Procedure | None:
        """Give the revision, else the newest one, else None."""
        if name is None:
            return None
        if revision is not None and (name, revision) in self._known:
            return self._known[name, revision]
        return self._newest.get(name)


@dataclass(slots=True)
class OpenWeld:
    """The record that runs on a gun and the procedure it names."""

    id: str
    procedure: str | None
    revision: int | None


@dataclass(frozen=True, slots=True)
class Segment:
    """Steps `first` … `end`-1 of a block under one record (or none)."""

    first: int
    end: int
    weld: OpenWeld | None


@dataclass(slots=True)
class WeldTimes:
    """Start and stop events of one gun, applied from the grid step that ends after them."""

    open: OpenWeld | None = None
    waiting: list[WeldEvent] = field(default_factory=list)
    seen: list[str] = field(default_factory=list)

    def note(self, event: WeldEvent) -> None:
        """Take an event once; events may come in any order ahead of their time."""
        mark = f"{event.kind.value} {event.weld}"
        if mark in self.seen:
            return
        self.seen = [*self.seen[-63:], mark]
        self.waiting.append(event)
        self.waiting.sort(key=lambda e: e.time)

    def segments(self, start: int, n: int) -> Iterator[Segment]:
        """Walk the stretches of steps start … start+n-1; a late event holds from the first."""
        first = 0
        while self.waiting and self.waiting[0].time < (start + n) * STEP:
            event = self.waiting.pop(0)
            at = max(first, event.time // STEP - start)
            if at > first:
                yield Segment(first, at, self.open)
                first = at
            self._apply(event)
        yield Segment(first, n, self.open)

    def _apply(self, event: WeldEvent) -> None:
        if event.kind is WeldEventKind.START:
            self.open = OpenWeld(event.weld, event.procedure, event.procedure_revision)
        elif self.open is not None and self.open.id == event.weld:
            self.open = None

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        o = self.open
        return {
            "open": None if o is None else [o.id, o.procedure, o.revision],
            "seen": self.seen,
            "waiting": [
                [e.kind.value, e.weld, e.time, e.procedure, e.procedure_revision]
                for e in self.waiting
            ],
        }

    def load(self, data: Any, station: StationId, gun: str) -> None:
        """Take up what `dump` gave."""
        self.open = None if data["open"] is None else OpenWeld(*data["open"])
        self.seen = list(data["seen"])
        self.waiting = [
            WeldEvent(WeldEventKind(kind), weld, station, gun, time, "", "", procedure, revision)
            for kind, weld, time, procedure, revision in data["waiting"]
        ]
