"""The three kinds of thing an alarm is made of: facts, human acts and the state they give."""

from dataclasses import dataclass
from enum import StrEnum

from steadybead_domain.ids import ChannelId, StationId


class Priority(StrEnum):
    """From consequence and time to respond."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(StrEnum):
    """States of the alarm state model (IEC 62682 / ISA-18.2 terms, from memory)."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal, unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched, acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class ActKind(StrEnum):
    """What a person can do to an alarm."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    TAKE_OUT_OF_SERVICE = "take out of service"
    RETURN_TO_SERVICE = "return to service"


@dataclass(frozen=True, slots=True)
class AlarmFact:
    """One change of an alarm's condition, written by the collector, never overwritten.

    `alarm` is the id of the occurrence, made from `fingerprint` and the onset: the same evidence
    gives the same id however often it is replayed. (`alarm`, `time`, `active`) is unique.
    `suppressed`: the condition cannot be judged now (its sensor is broken or silent), which raises
    an alarm of its own. `merged_into`: a later occurrence of the same fingerprint took over.
    """

    alarm: str
    fingerprint: str
    kind: str
    station: StationId
    gun: str | None
    channel: ChannelId | None
    time: int
    active: bool
    priority: Priority
    latching: bool
    what: str
    value: float | None
    limit: float | None
    unit: str
    cause: str
    to_do: str
    for_whom: str
    suppressed: bool = False
    merged_into: str = ""


@dataclass(frozen=True, slots=True)
class AlarmAct:
    """What a person did to one occurrence, written by the API, never overwritten.

    `of_raise`: the time of the raise that the person saw, so that an acknowledgement is never
    taken for one of an earlier raise when the clocks of device and server differ.
    """

    alarm: str
    kind: ActKind
    time: int
    actor: str
    until: int | None = None
    reason: str = ""
    of_raise: int | None = None


@dataclass(frozen=True, slots=True)
class Alarm:
    """An occurrence as shown, with the derived state.

    `raised` has the words and figures of the gravest raise since the condition last came, and the
    time of the first one. `last_raised`: when it was raised last, for acknowledgements.
    """

    raised: AlarmFact
    state: AlarmState
    active: bool
    cleared: int | None
    acknowledged_by: str
    acknowledged_at: int | None
    shelved_until: int | None
    last_raised: int = 0
