"""How a notice stands: from the attempts to deliver it, and the time."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from steadybead_domain.times import DAY, MINUTE, SECOND

FIRST_PAUSE = 10 * SECOND
LONGEST_PAUSE = 15 * MINUTE
GIVES_UP_AFTER = DAY


class Outcome(StrEnum):
    """What came of an attempt."""

    DELIVERED = "delivered"
    FAILED = "failed"
    GIVEN_UP = "given up"


@dataclass(frozen=True, slots=True)
class Attempt:
    """One attempt; `detail` says why it failed, without secrets."""

    time: int
    outcome: Outcome
    detail: str = ""


def is_over(attempts: Sequence[Attempt]) -> bool:
    """Tell whether nothing more is to be tried."""
    return any(a.outcome is not Outcome.FAILED for a in attempts)


def next_attempt(decided: int, attempts: Sequence[Attempt], now: int) -> int:
    """Give when to try next, µs: at once, then after a pause that doubles up to its longest.

    A clock that went back makes no pause longer than it is.
    """
    failed = [a for a in attempts if a.outcome is Outcome.FAILED]
    if not failed:
        return min(decided, now)
    pause = min(FIRST_PAUSE << min(len(failed) - 1, 20), LONGEST_PAUSE)
    return min(failed[-1].time, now) + pause


def gives_up(attempts: Sequence[Attempt], now: int) -> bool:
    """Tell whether a notice that failed for so long is left: what it told is old."""
    failed = [a.time for a in attempts if a.outcome is Outcome.FAILED]
    return bool(failed) and now - min(failed) >= GIVES_UP_AFTER
