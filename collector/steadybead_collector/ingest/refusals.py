"""What goes to quarantine, kept within bounds however much of it comes."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field

from steadybead_collector.mqtt.inbox import Message
from steadybead_collector.outcomes import Outcome
from steadybead_domain.ports import Refused
from steadybead_domain.times import HOUR

PAYLOAD_CAP = 4096
BURST = 20_000
REFILL_PER_HOUR = 1_000
_SHOWN = 3
_NOTHING = hashlib.sha256(b"").digest()


@dataclass(slots=True)
class Refusals:
    """The refusals of one message, gathered by word."""

    message: Message
    _details: dict[Outcome, list[tuple[int | None, str]]] = field(default_factory=dict)
    _counts: dict[Outcome, int] = field(default_factory=dict)

    def add(self, outcome: Outcome, detail: str, record: int | None = None) -> None:
        """Note one refusal; `record` is its place in the pack, None for the whole message."""
        self._counts[outcome] = self._counts.get(outcome, 0) + 1
        shown = self._details.setdefault(outcome, [])
        if len(shown) < _SHOWN:
            shown.append((record, detail))

    def counts(self) -> dict[Outcome, int]:
        """Count the refused records by word."""
        return self._counts

    def rows(self) -> Iterable[Refused]:
        """Give one row for each word: of one record, or of the message with the first few named."""
        if not self._details:
            return
        message = self.message
        digest = hashlib.sha256(message.payload).digest()
        for outcome, shown in self._details.items():
            count = self._counts[outcome]
            detail = "; ".join(text for _, text in shown)
            if count > len(shown):
                detail = f"{count} records: {detail}; …"
            yield Refused(
                message.topic,
                message.payload[:PAYLOAD_CAP],
                digest,
                message.received,
                outcome.value,
                detail[:500],
                outcome.remedy,
                shown[0][0] if count == 1 else None,
            )


@dataclass(slots=True)
class Allowance:
    """How many rows with their payload a word may still add; above that, repeats only count.

    A burst of BURST rows and REFILL_PER_HOUR after that, for each word. What exceeds it is one
    row per known topic and word, without payload, whose count tells how many more there were.
    """

    common_topic: str
    _left: dict[str, float] = field(default_factory=dict)
    _seen: dict[str, int] = field(default_factory=dict)

    def within(self, rows: Iterable[Refused], known_topic: bool) -> list[Refused]:
        """Pass rows on, or what stands for them."""
        return [row if self._spend(row) else self._counted(row, known_topic) for row in rows]

    def _spend(self, row: Refused) -> bool:
        last = self._seen.get(row.outcome, row.received)
        refill = max(0, row.received - last) * REFILL_PER_HOUR / HOUR
        left = min(float(BURST), self._left.get(row.outcome, float(BURST)) + refill)
        self._seen[row.outcome] = row.received
        self._left[row.outcome] = left - 1.0 if left >= 1.0 else left
        return left >= 1.0

    def _counted(self, row: Refused, known_topic: bool) -> Refused:
        return Refused(
            row.topic if known_topic else self.common_topic,
            b"",
            _NOTHING,
            row.received,
            row.outcome,
            "more of the same, counted without their payload",
            row.remedy,
        )
