"""One day of one station: when things are switched, welded, told and forgotten."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from steadybead_simulator.spans import Spans


@dataclass(frozen=True, slots=True)
class Tell:
    """A start or stop of a weld record as somebody told it, s since the scenario's start."""

    at_s: float
    event: str
    gun: str
    weld: str
    seam: str
    job: str
    welder: str


@dataclass(frozen=True, slots=True)
class Act:
    """Something a person did or forgot; `end_s` None: a moment."""

    kind: str
    gun: str | None
    start_s: float
    end_s: float | None = None
    size: float | None = None
    unit: str | None = None
    recorded: bool | None = None
    detail: str = ""


@dataclass(frozen=True, slots=True)
class TrueWeld:
    """A seam as it was really laid, and when its record was told."""

    weld: str
    gun: str
    start_s: float
    stop_s: float
    told_start_s: float | None
    told_stop_s: float | None
    welder: str


@dataclass(slots=True)
class GunDay:
    """What one gun does in a day."""

    air: Spans = field(default_factory=Spans)
    heat: Spans = field(default_factory=Spans)
    hand: Spans = field(default_factory=Spans)
    weld: Spans = field(default_factory=Spans)
    nozzles: list[tuple[float, str]] = field(default_factory=list)
    valve: list[tuple[float, float]] = field(default_factory=list)


@dataclass(slots=True)
class Day:
    """What one station does in a day, [start_s, end_s) since the scenario's start.

    `node`: when the edge node has power. `nozzles` and `valve` of a gun: from when, which nozzle,
    what flow in L/min the welder sets there.
    """

    start_s: float
    end_s: float
    blower: Spans = field(default_factory=Spans)
    node: Spans = field(default_factory=Spans)
    guns: dict[str, GunDay] = field(default_factory=dict)
    sawing: Spans = field(default_factory=Spans)
    outages: Spans = field(default_factory=Spans)
    tells: list[Tell] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)
    welds: list[TrueWeld] = field(default_factory=list)
    tapped: list[tuple[float, float]] = field(default_factory=list)

    def tells_in(self, start_s: float, end_s: float) -> Iterator[Tell]:
        """Walk what is told in [start_s, end_s), in time."""
        return (t for t in self.tells if start_s <= t.at_s < end_s)
