"""Readings that the server will not take, or that turn out late to be taken, in quarantine form."""

import hashlib
from collections.abc import Callable, Iterator, Sequence

from steadybead_collector.outcomes import Outcome
from steadybead_collector.stores.flat import Flat
from steadybead_collector.stores.influx import lines
from steadybead_domain.ids import ChannelId
from steadybead_domain.ports import Conflict, Refused, StoreError

Refuse = Callable[[Sequence[Refused]], None]
"""Keeps quarantine rows durably; StoreError if it cannot."""
_MOST = 4096


def refuse_nothing(rows: Sequence[Refused]) -> None:
    """Raise StoreError: without a quarantine, nothing may be refused."""
    if rows:
        raise StoreError(f"{rows[0].detail}; and there is no quarantine to keep {rows[0].topic}")


def refused_lines(flat: Flat, received: int, said: str) -> Iterator[Refused]:
    """Make a quarantine row of every reading, for the reason that the server gave."""
    for i, name in enumerate(flat.names):
        own = Flat((name,), flat.starts[i : i + 2] - flat.starts[i], flat.of(i))
        for line in lines.reading_lines(own, 0):
            yield _row(name, line, received, Outcome.STORE, said)


def late_conflicts(conflicts: Sequence[Conflict], received: int) -> Iterator[Refused]:
    """Make a quarantine row of every conflict that showed when the server was back."""
    for found in conflicts:
        line = f"{found.channel} {found.time} raw={found.refused_raw!r}"
        detail = (
            f"{found.channel} kept {found.kept_raw:g}, came {found.refused_raw:g}"
            " while the readings server was away"
        )
        yield _row(found.channel, line, received, Outcome.CONFLICT, detail)


def _row(name: ChannelId, line: str, received: int, outcome: Outcome, detail: str) -> Refused:
    payload = line.encode()
    return Refused(
        str(name),
        payload[:_MOST],
        hashlib.sha256(payload).digest(),
        received,
        outcome.value,
        detail,
        outcome.remedy,
    )
