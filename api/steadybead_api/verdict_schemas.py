"""The shapes of verdicts and of what belongs to them."""

from steadybead_api.fields import TimeText
from steadybead_api.schemas import Answer


class RuleItem(Answer):
    """The decision rule; `words` state it."""

    risk: float
    average_s: float
    join_s: float
    least_covered: float
    version: int
    words: str


class ReasonItem(Answer):
    """Why something cannot be told."""

    why: str
    text: str
    start: TimeText | None
    end: TimeText | None


class GuardedItem(Answer):
    """A window with its guard band, in the channel's own figures."""

    low: float | None
    high: float | None
    unit: str
    standard: float
    expanded: float
    factor: float
    guard: float
    accept_low: float | None
    accept_high: float | None
    reject_low: float | None
    reject_high: float | None
    can_conform: bool


class AverageItem(Answer):
    """One mean and its place: inside, outside, in doubt, or no support."""

    start: TimeText
    end: TimeText
    mean: float | None
    covered: float
    place: str


class ExcursionItem(Answer):
    """A stretch outside the window; `area` in the unit times seconds."""

    quantity: str
    channel: str
    side: str
    start: TimeText
    end: TimeText
    length_s: float
    peak: float
    limit: float
    area: float
    unit: str
    beyond_doubt: bool


class GapItem(Answer):
    """A stretch without good readings."""

    start: TimeText
    end: TimeText
    why: str


class RunItem(Answer):
    """A stretch of welding inside the record."""

    start: TimeText
    end: TimeText


class JudgementItem(Answer):
    """What is said of one quantity."""

    quantity: str
    channel: str | None
    unit: str
    conclusion: str
    reasons: list[ReasonItem]
    guarded: GuardedItem | None
    note: str
    averages: list[AverageItem]
    excursions_left_out: int
    gaps: list[GapItem]
    gaps_left_out: int
    judged_s: float
    covered_s: float
    inside_s: float
    share_inside: float | None
    lowest: float | None
    highest: float | None
    assumptions: list[str]
    correction: float


class SeamStretchItem(Answer):
    """Where an excursion lies: mm from the start of a bead, each ± its give."""

    excursion: int
    bead: int
    start_mm: float
    end_mm: float
    start_give_mm: float
    end_give_mm: float


class SeamItem(Answer):
    """The seam to scale."""

    length_mm: float
    speed_mm_min: float
    basis: str
    beads: int
    stretches: list[SeamStretchItem]
    words: list[str]


class VerdictItem(Answer):
    """The verdict on heat and air; `not_proven` belongs beside it wherever it is shown."""

    weld: str
    verdict: str
    rule: RuleItem
    procedure: str | None
    procedure_revision: int | None
    reasons: list[ReasonItem]
    quantities: list[JudgementItem]
    excursions: list[ExcursionItem]
    runs: list[RunItem]
    runs_from: str
    seam: SeamItem | None
    not_proven: list[str]


class ReachItem(Answer):
    """What one channel can say of a window."""

    quantity: str
    channel: str | None
    guarded: GuardedItem | None
    words: str
    can_conform: bool


class ReachList(Answer):
    """What a gun's channels can say of a procedure's windows."""

    procedure: str
    items: list[ReachItem]
