"""What the product asks of its stores. Every implementation passes one contract test."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from steadybead_domain.alarms.model import AlarmAct, AlarmFact
from steadybead_domain.calibration.model import Fitting
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.errors import PlainError
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.maintenance import FilterChange
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure
from steadybead_domain.readings import Batch, Buckets, Columns, Reading
from steadybead_domain.welds import WeldEvent


class StoreError(PlainError):
    """The store cannot do what was asked; the message says what to do about it."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """A second value for a (channel, time) that is taken: the first stays."""

    channel: ChannelId
    time: int
    kept_raw: float
    refused_raw: float


@dataclass(frozen=True, slots=True)
class Appended:
    """The outcome of one durable append.

    `position` grows with each append and orders the journal; `accepted` holds what was new,
    per channel in ascending time; `duplicates` counts rows whose (channel, time, raw) was known.
    """

    position: int
    accepted: Batch
    duplicates: int
    conflicts: tuple[Conflict, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """Readings of one station to keep, [start, end) in µs: a weld record covers them."""

    station: StationId
    start: int
    end: int


class ReadingsStore(Protocol):
    """Readings, kept for years. Identity is (channel, time); the first value stays.

    Two rows are the same reading if their raw samples are bit-identical; otherwise they conflict.
    All methods raise StoreError with a remedy. Times are µs, intervals [start, end).
    """

    def append(self, batch: Batch) -> Appended:
        """Commit durably, then return; raise ValueError on NaN or infinity, storing nothing."""

    def channels(self) -> Sequence[ChannelId]:
        """Name the channels that have readings, or had some that were forgotten."""

    def latest(self, channels: Sequence[ChannelId]) -> Mapping[ChannelId, Reading]:
        """Give the newest reading of each channel that has one."""

    def read(self, channel: ChannelId, start: int, end: int) -> Iterator[Columns]:
        """Walk the readings in ascending time, in parts of bounded size, none of them empty."""

    def buckets(self, channel: ChannelId, start: int, end: int, points: int) -> Buckets:
        """Summarise [start, end) in at most `points` equal buckets, exactly."""

    def since(self, position: int) -> Iterator[tuple[int, Batch]]:
        """Replay what was accepted after `position`, as far as it was not released."""

    def release(self, position: int) -> None:
        """Say that nobody will ask to replay anything up to `position` again."""

    def retain(self, before: int, keep: Sequence[Span]) -> int:
        """Forget raw readings older than `before` outside `keep`; give their number."""

    def maintain(self) -> bool:
        """Do one short piece of housekeeping; True if more waits."""

    def close(self) -> None:
        """Finish; idempotent."""


@runtime_checkable
class OnServer(Protocol):
    """What a store on a server can tell of its line to it."""

    @property
    def fault(self) -> str:
        """Say what is wrong and how much waits on this machine; empty if all is well."""


@dataclass(frozen=True, slots=True)
class Receipt:
    """The first receipt of a message whose records carry no time of their own.

    Message ids are used again after their acknowledgement. `fresh` says that this message cannot
    be a redelivery: whatever is remembered under the same key belonged to an older message and is
    replaced.
    """

    message_id: int
    topic: str
    payload_sha256: bytes
    time: int
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class Refused:
    """One record, or a whole message, that went to quarantine instead of the store.

    `outcome` is a word of the contract (`conflict`, `unit`, `time`, …); `payload` is capped at
    4 KiB. The same refusal of the same payload is one row that counts.
    """

    topic: str
    payload: bytes
    payload_sha256: bytes
    received: int
    outcome: str
    detail: str
    remedy: str
    record: int | None = None


Change = WeldEvent | AlarmAct | Procedure | FilterChange | ReferenceCheck | Fitting
"""What others than the collector put on record, and its diagnoses must know of."""


class FactsStore(Protocol):
    """What the collector writes, and the human acts that it reads. Commit before publish."""

    def receipts(self, wanted: Sequence[Receipt]) -> list[Receipt]:
        """Remember receipts; where (message id, topic, hash) is known, give the first one.

        One that is `fresh` replaces what is known. The answer has the order of `wanted`.
        """

    def quarantine(self, rows: Sequence[Refused]) -> None:
        """Keep refusals; a repeat only counts."""

    def accept_plant(self, text: str, plant: Plant, now: int) -> Plant:
        """Keep the version if its hash is not the newest one's; give it with its number."""

    def add_weld_event(self, event: WeldEvent) -> bool:
        """Keep the event; False if it repeats one (same weld, same kind)."""

    def add_alarm_facts(self, facts: Sequence[AlarmFact]) -> None:
        """Keep facts; a repeat is a no-op."""

    def add_findings(self, findings: Sequence[Finding]) -> None:
        """Keep findings; a repeat (same identity, told at the same time) is a no-op."""

    def changes_since(self, position: int) -> tuple[int, list[Change]]:
        """Give acts, weld events and revisions of procedures committed after `position`, in order.

        Work on filters, reference checks and fittings are among the acts; a withdrawn fitting ends
        where it starts.
        """

    def save_states(self, position: int, states: Mapping[StationId, bytes]) -> None:
        """Keep diagnosis states that have seen the journal up to `position`, all or none."""

    def load_state(self, station: StationId) -> tuple[int, bytes] | None:
        """Give the newest saved state."""
