"""One batch of messages made durable: readings, weld events and what was refused."""

import logging
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol, TypeVar

import numpy as np

from steadybead_collector.ingest.decode import Decoded
from steadybead_collector.ingest.intake import Intake, Taken, Told
from steadybead_collector.ingest.receipts import FirstReceipt, Receipts
from steadybead_collector.ingest.refusals import Refusals
from steadybead_collector.ingest.weld_log import WeldLog
from steadybead_collector.ingest.weld_message import (
    WeldMessageError,
    WeldTimeError,
    read_weld,
)
from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.outcomes import Outcome
from steadybead_domain.diagnosis.silence import Online
from steadybead_domain.plant import Plant
from steadybead_domain.ports import Appended, FactsStore, ReadingsStore, Refused
from steadybead_domain.readings import Batch, Columns, Joined

if TYPE_CHECKING:
    from steadybead_domain.ids import ChannelId

LOG = logging.getLogger(__name__)
T = TypeVar("T")


class Persist(Protocol):
    """Runs a durable step, perhaps more than once, until it is done."""

    def __call__(self, action: Callable[[], T]) -> T:
        """Give what the step gives."""


def at_once(action: Callable[[], T]) -> T:
    """Do it without another attempt: what fails is the caller's."""
    return action()


@dataclass(slots=True)
class Committed:
    """What a batch has become: durable when this exists, so it may be acknowledged.

    `accepted`: the new readings, one entry for each append, with its journal position.
    """

    accepted: list[Appended] = field(default_factory=list)
    onlines: list[Online] = field(default_factory=list)
    welds: int = 0


class Ingest:
    """Commits batches. `persist` runs each durable step, and may try it again on StoreError.

    Every step is idempotent: after a crash between two of them the same messages come again.
    """

    def __init__(
        self,
        plant: Plant,
        root: str,
        readings: ReadingsStore,
        facts: FactsStore,
        receipts: Receipts,
        persist: Persist = at_once,
    ) -> None:
        self._readings, self._facts, self._persist = readings, facts, persist
        self.intake = Intake(plant, root, receipts)
        self.weld_log = WeldLog()
        self.counts: Counter[Outcome] = Counter()

    def prime(self) -> None:
        """Take up conversion where the store left off. StoreError."""
        self.intake.prime(lambda channels: dict(self._readings.latest(channels)))

    def commit(self, messages: Sequence[Message]) -> Committed:
        """Commit messages in order of arrival; StoreError as far as `persist` lets it through."""
        decoded = self.intake.decode(messages)
        receipts = self.intake.first_receipts(
            decoded, lambda wanted: self._persist(lambda: self._facts.receipts(wanted))
        )
        committed = Committed()
        for taken in self._take(messages, decoded, receipts):
            self._append(taken, committed)
            for told in taken.welds:
                self._add_weld(told, committed)
            for told in taken.onlines:
                self._note_online(told, committed)
        self._quarantine(decoded)
        return committed

    def refuse(self, message: Message, fault: str) -> None:
        """Send a message to quarantine that shows a fault of ours. StoreError."""
        decoded = Decoded(message, Refusals(message))
        decoded.refusals.add(Outcome.INTERNAL, fault[:300])
        self._quarantine([decoded])

    def _take(
        self,
        messages: Sequence[Message],
        decoded: list[Decoded],
        receipts: Mapping[int, FirstReceipt],
    ) -> list[Taken]:
        """Convert the batch; if a fault of ours shows, message by message to find its cause."""
        first = self.intake.take_or_none(messages, decoded, receipts)
        if first is not None:
            return [first]
        parts: list[Taken] = []
        for i, message in enumerate(messages):
            decoded[i] = self.intake.decode([message])[0]
            own = {0: receipts[i]} if i in receipts else {}
            part = self.intake.take_or_none([message], [decoded[i]], own)
            if part is None:
                decoded[i].refusals.add(Outcome.INTERNAL, "it cannot be converted; see the log")
            else:
                parts.append(part)
        return parts

    def _append(self, taken: Taken, committed: Committed) -> None:
        batch = _finite(taken)
        if not len(batch):
            return
        appended = self._persist(lambda: self._readings.append(batch))
        self.counts[Outcome.ACCEPTED] += len(appended.accepted)
        self.counts[Outcome.DUPLICATE] += appended.duplicates
        for conflict in appended.conflicts:
            detail = f"{conflict.channel} kept {conflict.kept_raw:g}, came {conflict.refused_raw:g}"
            taken.source_of(conflict).refusals.add(Outcome.CONFLICT, detail)
        if len(appended.accepted):
            committed.accepted.append(appended)

    def _add_weld(self, told: Told, committed: Committed) -> None:
        message, refusals = told.decoded.message, told.decoded.refusals
        try:
            event = read_weld(message.payload, told.station, message.received)
        except WeldTimeError as error:
            refusals.add(Outcome.TIME, str(error))
            return
        except WeldMessageError as error:
            refusals.add(Outcome.WELD, str(error))
            return
        if event.gun not in told.guns:
            refusals.add(Outcome.WELD, f"gun {event.gun} has no channels here")
            return
        complete = self.weld_log.complete(event)
        if complete is None:
            refusals.add(Outcome.NO_OPEN_WELD, f"no record is open on gun {event.gun}")
            return
        if self._persist(lambda: self._facts.add_weld_event(complete)):
            self.weld_log.follow(complete)
            self.counts[Outcome.ACCEPTED] += 1
            committed.welds += 1
        elif (fault := self.weld_log.fault(complete)) is not None:
            refusals.add(Outcome.NO_OPEN_WELD, fault)
        else:
            self.counts[Outcome.DUPLICATE] += 1

    def _note_online(self, told: Told, committed: Committed) -> None:
        message = told.decoded.message
        said = message.payload.strip()
        if said not in {b"0", b"1"}:
            told.decoded.refusals.add(Outcome.MALFORMED, "online is neither 0 nor 1")
            return
        self.counts[Outcome.ACCEPTED] += 1
        committed.onlines.append(Online(told.station, message.received, said == b"1"))

    def _quarantine(self, decoded: Sequence[Decoded]) -> None:
        refused = [item for item in decoded if item.refusals.counts()]
        rows: list[Refused] = []
        for item in refused:
            rows += self.intake.allowance.within(item.refusals.rows(), item.known_topic)
        if rows:
            self._persist(lambda: self._facts.quarantine(rows))
        for item in refused:
            self.counts.update(item.refusals.counts())


def _finite(taken: Taken) -> Batch:
    """Join the columns; leave out rows whose conversion overflowed, and refuse their messages."""
    joined = Joined.of(taken.batch.columns)
    if np.isfinite(joined.rows.value).all() and np.isfinite(joined.rows.raw).all():
        return Batch(taken.batch.received, joined)
    columns: dict[ChannelId, Columns] = {}
    for channel, rows in joined.items():
        sound = np.isfinite(rows.value) & np.isfinite(rows.raw)
        for row in np.flatnonzero(~sound):
            item = taken.decoded[int(taken.wires[channel].pack[row]) - taken.first_pack]
            item.refusals.add(Outcome.NOT_FINITE, f"{channel} overflows in conversion")
        columns[channel] = rows.take(sound)
    return Batch(taken.batch.received, Joined.of(columns))
