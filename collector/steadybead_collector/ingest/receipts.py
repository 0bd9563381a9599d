"""The time of first receipt, for messages whose records carry no time of their own.

A broker uses message ids again after their acknowledgement, and a redelivered message must get
the time that its first delivery got. Messages are acknowledged in order of arrival, so a receipt
that is older than the acknowledgements which the broker surely had when a connection ended cannot
be of a message that is still on its way; it belongs to an older message with the same id. If the
clock was set back since, nobody can say which receipts are older, and all are believed.
"""

import hashlib
from collections import OrderedDict, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from steadybead_collector.mqtt.inbox import Message
from steadybead_domain.ports import Receipt
from steadybead_domain.times import SECOND

Remember = Callable[[Sequence[Receipt]], list[Receipt]]
SURE_AFTER = 15 * SECOND  # an acknowledgement sent so long ago has reached the broker
_COMES_AGAIN_WITHIN = 12 * SECOND
_MOST_RECENT = 65_536
_Key = tuple[int, str, bytes]


@dataclass(frozen=True, slots=True)
class FirstReceipt:
    """When a message was first received, and whether it had waited in the broker until then."""

    time: int
    backlog: bool


class Receipts:
    """Finds first receipts. `settled_until`: receipt of the last message surely acknowledged."""

    def __init__(self, settled_until: int = 0) -> None:
        self.settled_until = settled_until
        self._connection: int | None = None
        self._oldest = settled_until
        self._acknowledged: deque[tuple[int, int]] = deque()
        self._recent: OrderedDict[_Key, int] = OrderedDict()

    def acknowledged(self, messages: Sequence[Message], now: int) -> None:
        """Note that messages were acknowledged at `now`, in order of arrival.

        `now` is µs of a clock that nobody sets: what is sure must not hang on a day's step.
        """
        waiting = self._acknowledged
        if messages and (not waiting or now - waiting[-1][0] >= SECOND):
            waiting.append((now, messages[-1].received))
        while waiting and now - waiting[0][0] >= SURE_AFTER:
            self.settled_until = waiting.popleft()[1]

    def first(self, messages: Sequence[Message], remember: Remember) -> list[FirstReceipt]:
        """Give the first receipt of each message, durably remembered when this returns."""
        asked = [self._questions(message) for message in messages]
        wanted = [receipt for questions in asked for receipt in questions]
        answers = iter(remember(wanted) if wanted else ())
        found = [[next(answers) for _ in questions] for questions in asked]
        stale = [
            replace(question, fresh=True)
            for message, questions, answer in zip(messages, asked, found, strict=True)
            for question, known in zip(questions, answer, strict=True)
            if known.time < self._oldest and known.time != message.received
        ]
        if stale:
            remember(stale)
        return [self._judge(m, answer) for m, answer in zip(messages, found, strict=True)]

    def _questions(self, message: Message) -> list[Receipt]:
        """Ask under the id, and for a backlog under one more that only backlogs use."""
        if message.connection != self._connection:
            self._connection = message.connection
            was_set_back = self.settled_until > message.received
            self._oldest = 0 if was_set_back else self.settled_until
        if message.qos != 1:
            return []
        key = (message.mid, message.topic, hashlib.sha256(message.payload).digest())
        again = self._was_recent(key, message.received)
        question = Receipt(*key, message.received)
        if message.backlog:
            return [question, replace(question, message_id=-1 - message.mid)]
        return [question if again else replace(question, fresh=True)]

    def _was_recent(self, key: _Key, received: int) -> bool:
        last = self._recent.pop(key, None)
        self._recent[key] = received
        while len(self._recent) > _MOST_RECENT:
            self._recent.popitem(last=False)
        return last is not None and received - last <= _COMES_AGAIN_WITHIN

    def _judge(self, message: Message, known: list[Receipt]) -> FirstReceipt:
        """Take what only the first question knows: that receipt was no backlog's.

        It may be the later one, by a clock that was set back since.
        """
        times = [message.received if r.time < self._oldest else r.time for r in known]
        if len(times) == 2 and times[0] not in {times[1], message.received}:
            return FirstReceipt(times[0], backlog=False)
        return FirstReceipt(times[-1] if times else message.received, message.backlog)
