"""What a verdict is made of. Times are µs, intervals [start, end), lengths on the seam are mm."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from steadybead_domain.ids import ChannelId
from steadybead_domain.quantities import Quantity
from steadybead_domain.uncertainty.budget import Budget
from steadybead_domain.verdict.rule import DecisionRule, Guarded


class Conclusion(StrEnum):
    """What is said of heat and air; never that a weld passes."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does not conform"
    CANNOT_TELL = "cannot tell"


class Why(StrEnum):
    """Why a verdict is not *conforms*; the words are part of the API."""

    OUTSIDE = "outside the window"
    NO_PROCEDURE = "no procedure"
    NOT_STOPPED = "not stopped"
    NO_LENGTH = "no length"
    TOO_LONG = "too long"
    STOP_NOT_TOLD = "stop not told"
    OVERLAPPING = "overlapping record"
    NO_CHANNEL = "no channel"
    NO_WINDOW = "no window"
    NO_READINGS = "no readings"
    READINGS_MISSING = "readings missing"
    READINGS_UNCERTAIN = "readings uncertain"
    CALIBRATION_CHANGED = "calibration changed"
    TOO_UNCERTAIN = "too uncertain"
    NEAR_THE_LIMIT = "near the limit"
    NO_RUN = "no run"
    PLANT_FILE = "plant file"


# With one of these a record (or a quantity) cannot be judged at all; with the others, an average
# that lies outside the window beyond doubt still shows that the record does not conform.
BLOCKING = frozenset(
    {
        Why.NO_PROCEDURE,
        Why.NOT_STOPPED,
        Why.NO_LENGTH,
        Why.TOO_LONG,
        Why.STOP_NOT_TOLD,
        Why.OVERLAPPING,
        Why.CALIBRATION_CHANGED,
        Why.NO_WINDOW,
        Why.PLANT_FILE,
    }
)


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason why a verdict is not *conforms*, with its stretch where there is one."""

    why: Why
    text: str
    start: int | None = None
    end: int | None = None

    @property
    def blocking(self) -> bool:
        """Tell whether nothing can be judged because of it."""
        return self.why in BLOCKING


class Place(StrEnum):
    """Where an average lies, seen from the window with its guard bands."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    IN_DOUBT = "in doubt"
    NO_SUPPORT = "no support"


class Side(StrEnum):
    """Which side of the window."""

    BELOW = "below"
    ABOVE = "above"


@dataclass(frozen=True, slots=True)
class Average:
    """The mean over [start, end); None where good readings cover too little of it.

    `covered` is the share of the time that good readings cover.
    """

    start: int
    end: int
    mean: float | None
    covered: float
    place: Place


@dataclass(frozen=True, slots=True)
class Excursion:
    """A stretch of readings outside the window; pauses shorter than the rule's join it.

    `peak` is the value furthest outside; `area` the distance beyond the limit summed over time,
    in the channel's unit times seconds (degree-seconds). `beyond_doubt`: an average within it
    lies outside by more than the guard band.
    """

    quantity: Quantity
    channel: ChannelId
    side: Side
    start: int
    end: int
    peak: float
    limit: float
    area: float
    unit: str
    beyond_doubt: bool

    @property
    def length_s(self) -> float:
        """Give the length in seconds."""
        return (self.end - self.start) / 1e6


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of a run that no good reading covers; `why` is missing or uncertain readings."""

    start: int
    end: int
    why: Why


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of welding inside a record."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Judgement:
    """What is said of one quantity.

    `guarded` holds window, guard band, uncertainty and acceptance interval, all in the channel's
    own figures (`note` says how the procedure's window came to them). `judged_s` is the time of
    the runs, `covered_s` that with good readings, `inside_s` that inside the window, by readings.
    `excursions_left_out` and `gaps_left_out` count what is not listed. `correction` is what
    reference checks added to the recalibrated values, `budget` that of a single reading.
    """

    quantity: Quantity
    channel: ChannelId | None
    unit: str
    conclusion: Conclusion
    reasons: tuple[Reason, ...]
    guarded: Guarded | None = None
    note: str = ""
    averages: tuple[Average, ...] = ()
    excursions: tuple[Excursion, ...] = ()
    excursions_left_out: int = 0
    gaps: tuple[Gap, ...] = ()
    gaps_left_out: int = 0
    judged_s: float = 0.0
    covered_s: float = 0.0
    inside_s: float = 0.0
    assumptions: tuple[str, ...] = ()
    correction: float = 0.0
    budget: Budget | None = None

    @property
    def share_inside(self) -> float | None:
        """Give the share of the covered time inside the window; None without any."""
        return self.inside_s / self.covered_s if self.covered_s > 0.0 else None

    @property
    def lowest(self) -> float | None:
        """Give the lowest average."""
        return min((a.mean for a in self.averages if a.mean is not None), default=None)

    @property
    def highest(self) -> float | None:
        """Give the highest average."""
        return max((a.mean for a in self.averages if a.mean is not None), default=None)


@dataclass(frozen=True, slots=True)
class SeamStretch:
    """Where one excursion lies on the seam: from–to in mm from its start, each ± `give_mm`.

    `bead` counts from 1. `excursion` is its place in `Verdict.excursions`.
    """

    excursion: int
    bead: int
    start_mm: float
    end_mm: float
    start_give_mm: float
    end_give_mm: float


class SeamBasis(StrEnum):
    """What the places on the seam are computed from, the best first."""

    SPEED_CHANNEL = "travel speed channel"
    LENGTH = "length of the seam"
    PROCEDURE_SPEED = "travel speed of the procedure"


@dataclass(frozen=True, slots=True)
class SeamMap:
    """The seam to scale. `length_mm` is told, or computed where `basis` is not the length.

    `stretches` are in the order of the excursions. `speed_mm_min` is the mean over the runs.
    `words` say what the ± stands on.
    """

    length_mm: float
    speed_mm_min: float
    basis: SeamBasis
    beads: int
    stretches: tuple[SeamStretch, ...]
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on heat and air of one weld record.

    `reasons` are those of the record and of its quantities. `not_proven` lists what the log
    cannot prove; it belongs beside every verdict.
    """

    weld: str
    conclusion: Conclusion
    rule: DecisionRule
    reasons: tuple[Reason, ...]
    judgements: tuple[Judgement, ...]
    runs: tuple[Run, ...]
    runs_from: str
    seam: SeamMap | None
    not_proven: tuple[str, ...]
    procedure: str | None = None
    procedure_revision: int | None = None

    @property
    def excursions(self) -> tuple[Excursion, ...]:
        """List the excursions of all quantities, by their start."""
        return in_order(self.judgements)


def in_order(judgements: Iterable[Judgement]) -> tuple[Excursion, ...]:
    """List the excursions of several quantities, by their start."""
    found = [e for j in judgements for e in j.excursions]
    return tuple(sorted(found, key=lambda e: (e.start, e.quantity)))
