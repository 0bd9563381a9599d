"""The shapes of answers on weld records, their traces and procedures."""

from steadybead_api.fields import TimeShown, TimeText
from steadybead_api.schemas import Answer


class WeldItem(Answer):
    """A weld record as it stands; `stop` is null while it runs. `welder` is shown to quality.

    `amendments` counts the corrections in it; what people enter beside times and names is empty
    or null where nobody said. `verdict` is the word of its newest verdict, empty if none holds.
    """

    id: str
    station: str
    gun: str
    start: TimeShown
    stop: TimeShown | None
    procedure: str | None
    procedure_revision: int | None
    job: str | None
    seam: str | None
    welder: str | None
    started_by: str
    stopped_by: str
    ended_by: str
    amendments: int
    verdict: str
    excursions: int
    drawing: str
    seam_kind: str
    seam_length_mm: float | None
    qualification: str
    qualification_expires: str
    sheet: str
    sheet_batch: str
    thickness_mm: float | None
    rod: str
    rod_batch: str
    rod_check: str
    ambient_temperature_c: float | None
    ambient_humidity: float | None
    weather: str
    protection: str
    trial: str
    beads: int | None
    visual: str
    remarks: str


class ChangeItem(Answer):
    """One field of an amendment: what stood there, and what stands there now."""

    field: str
    before: str | float | int | None
    after: str | float | int | None


class AmendmentItem(Answer):
    """A correction of a weld record; the record before it stays readable.

    `time` is when it was kept, `acted` when somebody did it, where it was sent later.
    """

    weld: str
    number: int
    time: TimeShown
    acted: TimeShown | None
    author: str
    via: str
    reason: str
    changes: list[ChangeItem]


class SignatureItem(Answer):
    """A sign-off; `covers`: nothing was amended since."""

    weld: str
    as_role: str
    name: str
    role: str
    time: TimeShown
    amendments: int
    covers: bool


class WindowItem(Answer):
    """A closed range; null leaves a side open."""

    low: float | None
    high: float | None
    unit: str


class ProcedureItem(Answer):
    """A revision of a welding procedure specification."""

    id: str
    revision: int
    title: str
    material: str
    process: str
    nozzle_temperature: WindowItem
    air_flow: WindowItem
    flow_reference: str
    travel_speed: WindowItem | None
    rod_force: WindowItem | None
    rod: str
    warm_up_s: float
    tacking: str
    nozzle: str
    preparation: str
    note: str
    reason: str
    source: str
    edition: str
    provenance: dict[str, str]
    author: str
    time: TimeShown
    approved_by: str
    approved_at: TimeShown | None


class Gap(Answer):
    """A stretch without readings."""

    start: TimeShown
    end: TimeShown


class TraceWindow(Answer):
    """The procedure's window in the channel's own figures; `note` says what was assumed."""

    low: float | None
    high: float | None
    unit: str
    note: str


class TracedChannel(Answer):
    """What is said of a channel whatever its columns are."""

    channel: str
    quantity: str
    gun: str | None
    unit: str
    window: TraceWindow | None
    gaps: list[Gap]


class TraceReadings(TracedChannel):
    """The readings of one channel, in columns of one length."""

    time: list[TimeText]
    value: list[float | None]
    quality: list[str]
    reason: list[str]


class TraceBuckets(TracedChannel):
    """The buckets of one channel, in columns of one length."""

    start: list[TimeText]
    end: list[TimeText]
    n: list[int]
    min: list[float | None]
    mean: list[float | None]
    max: list[float | None]
    quality: list[str]


class Trace(Answer):
    """The trace of a weld record from 60 s before its start to 60 s after its stop."""

    weld: WeldItem
    procedure: ProcedureItem | None
    start: TimeShown
    end: TimeShown
    channels: list[TraceReadings] | list[TraceBuckets]
    next: str | None = None
