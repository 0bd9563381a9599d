"""The shapes of answers."""

from typing import Generic, TypeVar

from pydantic import BaseModel, ConfigDict

from steadybead_api.fields import TimeShown, TimeText

Item = TypeVar("Item")


class Answer(BaseModel):
    """An answer's members are exactly these."""

    model_config = ConfigDict(
        extra="forbid", allow_inf_nan=False, json_schema_serialization_defaults_required=True
    )


class Listed(Answer, Generic[Item]):
    """One page of a list; `next` is the cursor of the page after it."""

    items: list[Item]
    next: str | None = None


class ProblemDetails(BaseModel):
    """An error (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    instance: str
    errors: list[dict[str, str]] = []


class ReadingItem(Answer):
    """One reading; `value` is null where none can be given."""

    time: TimeText
    value: float | None
    unit: str
    quality: str
    reason: str


class BucketItem(Answer):
    """The readings of [start, end) that have a value and are not bad."""

    start: TimeText
    end: TimeText
    n: int
    min: float | None
    mean: float | None
    max: float | None
    quality: str


class LiveValueItem(Answer):
    """The last value of a channel, with the window it is held to."""

    channel: str
    quantity: str
    time: TimeText
    value: float | None
    unit: str
    quality: str
    reason: str
    low: float | None
    high: float | None


class LiveGunItem(Answer):
    """A gun now."""

    gun: str
    state: str
    since: TimeText
    weld: str | None
    procedure: str | None


class ChannelItem(Answer):
    """A channel as the plant file describes it, with its newest stored reading."""

    id: str
    quantity: str
    unit: str
    wire_unit: str
    gun: str | None
    flow_reference: str | None
    position: str | None
    latest: ReadingItem | None


class LiveItem(Answer):
    """What a collector says of a station."""

    station: str
    time: TimeText
    fitness: str
    reasons: list[str]
    guns: list[LiveGunItem]
    values: list[LiveValueItem]


class StationItem(Answer):
    """A station and how it stands now. Fitness never says that a gun is safe to touch."""

    id: str
    site: str
    station: str
    name: str
    procedure: str | None
    air_source: str
    fitness: str
    reasons: list[str]
    time: TimeText
    guns: list[LiveGunItem]
    values: list[LiveValueItem]


class StationDetail(StationItem):
    """A station with its channels."""

    channels: list[ChannelItem]


class AlarmItem(Answer):
    """An alarm occurrence with its derived state (IEC 62682 terms)."""

    id: str
    state: str
    since: TimeText
    last_raised: TimeText
    fingerprint: str
    kind: str
    station: str
    gun: str | None
    channel: str | None
    priority: str
    latching: bool
    what: str
    value: float | None
    limit: float | None
    unit: str
    cause: str
    to_do: str
    for_whom: str
    active: bool
    cleared: TimeText | None
    acknowledged_by: str
    acknowledged_at: TimeText | None
    shelved_until: TimeText | None


class AlarmFactItem(Answer):
    """One change of an alarm's condition, as the collector wrote it."""

    alarm: str
    time: TimeText
    active: bool
    suppressed: bool
    kind: str
    priority: str
    what: str
    value: float | None
    limit: float | None
    unit: str


class AlarmActItem(Answer):
    """What a person did to an alarm."""

    alarm: str
    kind: str
    time: TimeText
    actor: str
    until: TimeText | None
    reason: str


class AlarmHistory(Answer):
    """All that happened to one alarm occurrence, in the order of its commits."""

    facts: list[AlarmFactItem]
    acts: list[AlarmActItem]


class QuarantineItem(Answer):
    """A refusal; `payload` is text, or base64 where `payload_encoding` says so."""

    id: int
    topic: str
    payload: str
    payload_encoding: str
    payload_sha256: str
    first_received: TimeShown
    last_received: TimeShown
    count: int
    outcome: str
    detail: str
    remedy: str
    record: int | None


class ConditionItem(Answer):
    """One thing that must hold."""

    name: str
    ok: bool
    detail: str


class Readiness(Answer):
    """Whether the service is ready, and what is wrong where it is not."""

    ready: bool
    conditions: list[ConditionItem]


class Health(Answer):
    """The process answers."""

    status: str


class LoggedIn(Answer):
    """A session was opened; acts must send `csrf` in the header X-CSRF-Token."""

    actor: str
    role: str
    csrf: str
