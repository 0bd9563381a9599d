"""The shapes of instruments, calibrations, reference checks and what values are worth."""

from pydantic import Field

from steadybead_api.fields import TimeShown, TimeText
from steadybead_api.schemas import Answer
from steadybead_api.weld_schemas import WeldItem


class FittingItem(Answer):
    """An instrument on a channel in [start, end); `end` null: it still is."""

    id: str
    instrument: str
    channel: str
    start: TimeText
    end: TimeText | None
    author: str
    entered: TimeText
    revision: int
    withdrawn: bool


class InstrumentItem(Answer):
    """The newest revision of an instrument, where it is fitted, and whether it is due.

    `state`: valid, due soon, overdue or never calibrated. `failed_as_found`: the newest
    calibration found it beyond its tolerance.
    """

    id: str
    serial: str
    kind: str
    unit: str
    tolerance: float
    interval_days: int | None
    author: str
    entered: TimeText
    revision: int
    state: str
    due: TimeShown | None
    failed_as_found: bool
    fitted: FittingItem | None


class EntryItem(Answer):
    """One line of a history; `error` is shown less reference, `expanded` its U, in `unit`."""

    time: TimeShown
    kind: str
    channel: str | None
    instrument: str | None
    serial: str | None
    author: str
    error: float | None
    expanded: float | None
    unit: str
    reference: str


class InstrumentDetail(InstrumentItem):
    """An instrument with all its fittings, its history and its former revisions."""

    fittings: list[FittingItem]
    history: list[EntryItem]
    revisions: list[int]


class PointItem(Answer):
    """What was true, and what was shown before and after adjusting."""

    reference: float
    as_found: float | None
    as_left: float | None


class CalibrationItem(Answer):
    """One revision of a calibration."""

    id: str
    instrument: str
    performed: TimeText
    effective: TimeText
    kind: str
    unit: str
    points: list[PointItem]
    expanded_uncertainty: float
    coverage_factor: float
    reference_instrument: str
    certificate: str
    due: TimeText | None
    valid_low: float | None
    valid_high: float | None
    note: str
    withdrawn: bool
    author: str
    entered: TimeText
    revision: int


class WitnessItem(Answer):
    """The newest calibration or reference check that shows the error was not there yet."""

    id: str
    time: TimeShown
    deviation: float
    expanded: float


class ImpactVerdict(Answer):
    """The verdict of a record as it stood before the find, and with the error taken out."""

    weld: str
    before: str
    after: str
    changed: bool


class DoubtItem(Answer):
    """A stretch in doubt on one channel, and the weld records that it touches, by start.

    `welds_left_out` counts records beyond the list's end. `verdicts` are of at most 50 of the
    welds, from the place `verdicts_from` on: ask again with `first` for the others.
    """

    channel: str
    start: TimeShown
    end: TimeShown
    error: float
    good: WitnessItem | None
    welds: list[WeldItem]
    welds_left_out: int
    verdicts: list[ImpactVerdict]
    verdicts_from: int


class ImpactItem(Answer):
    """What a calibration's as-found error puts in doubt; nothing if it was within tolerance."""

    calibration: str
    instrument: str
    serial: str
    unit: str
    error: float | None
    tolerance: float
    in_doubt: bool
    growth: str
    growth_words: str
    doubts: list[DoubtItem]


class CheckImpactItem(Answer):
    """What a failed reference check puts in doubt; nothing if it was within tolerance."""

    check: str
    instrument: str
    serial: str
    unit: str
    tolerance: float
    in_doubt: bool
    growth: str
    growth_words: str
    doubts: list[DoubtItem]


class ReferenceCheckItem(Answer):
    """One revision of a reference check; `deviation` is shown less reference, in `unit`."""

    id: str
    channel: str
    time: TimeText
    reference: float
    shown: float
    deviation: float
    unit: str
    nozzle: str
    flow_l_min: float | None
    reference_instrument: str
    expanded_uncertainty: float
    coverage_factor: float
    occasion: str
    withdrawn: bool
    author: str
    entered: TimeText
    revision: int


class TermItem(Answer):
    """One source of doubt; `averages_over_s` null: no mean makes it smaller."""

    name: str
    half_width: float
    unit: str
    distribution: str
    divisor: float
    standard: float
    sensitivity: float
    contribution: float
    averages_over_s: float | None
    assumed: bool
    source: str


class WorthItem(Answer):
    """A value as recorded, recalibrated and with the nozzle's correction, and its uncertainty.

    `best` is the last of the three that records allow; `expanded` = `coverage_factor` ·
    `combined` belongs to it. `assumptions` say what was taken for granted.
    """

    channel: str
    time: TimeShown
    unit: str
    recorded: float
    recalibrated: float
    best: float
    over_s: float = Field(description="the budget is of a mean over so long; 0: of one reading")
    nozzle: str
    flow_l_min: float | None
    instrument: str | None
    calibration: str | None
    outside_calibrated_range: bool
    correction: float | None
    checks: list[str]
    beyond_checked_flow: bool
    combined: float
    effective_dof: float | None
    coverage_factor: float
    expanded: float
    terms: list[TermItem]
    assumptions: list[str]


class SensorItem(Answer):
    """A channel with the instrument behind it; `state` is `none` where no instrument is known.

    `expanded` is U of the newest value now; null where no budget is kept or nothing is heard.
    """

    channel: str
    station: str
    gun: str | None
    quantity: str
    unit: str
    instrument: str | None
    serial: str | None
    state: str
    due: TimeShown | None
    failed_as_found: bool
    value: float | None
    expanded: float | None
