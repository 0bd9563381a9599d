"""How well an alarm system serves its people: rate, floods, chattering, standing, the worst ten.

Figures after the alarm-management literature: flood above 10 alarms in 10 min per operator
(secondary sources, found), over when fewer than 5 come in 10 min (from memory), chattering 3 or
more times in a minute (found), standing after 24 h (secondary source, found).
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.readings import Int64
from steadybead_domain.times import DAY, HOUR, MINUTE

FLOOD_WINDOW = 10 * MINUTE
FLOOD_ABOVE = 10
FLOOD_OVER_BELOW = 5
CHATTER_WINDOW = MINUTE
CHATTER_FROM = 3
STANDING_FROM = DAY
WORST = 10


@dataclass(frozen=True, slots=True)
class AlarmQuality:
    """Figures of a stretch of time [start, end) µs.

    `raised` counts annunciations; `per_hour` of attended hours; `flood_share` 0..1 of the time;
    `chattering` and `standing` are fingerprints; `worst` the most frequent with their counts.
    """

    start: int
    end: int
    raised: int
    per_hour: float
    flood_share: float
    most_in_ten_minutes: int
    chattering: tuple[str, ...]
    standing: tuple[str, ...]
    worst: tuple[tuple[str, int], ...]
    by_role: tuple[tuple[str, int], ...] = ()


def alarm_quality(
    facts: Iterable[AlarmFact], start: int, end: int, attended_h: float | None = None
) -> AlarmQuality:
    """Judge the alarms of [start, end) from all facts up to `end`, in any order.

    `attended_h`: hours in which somebody was there to answer; None: the whole stretch. ValueError
    if the stretch or the hours are not above 0.
    """
    hours = (end - start) / HOUR if attended_h is None else attended_h
    if end <= start or hours <= 0:
        raise ValueError("give a stretch of time and attended hours above 0")
    facts = list(facts)
    spells = _spells([f for f in facts if f.time < end])
    raises = {key: [begin for begin, _ in found if begin >= start] for key, found in spells.items()}
    times = np.array(sorted(t for found in raises.values() for t in found), np.int64)
    counts = Counter({key: len(found) for key, found in raises.items() if found})
    in_ten = _lately(times, FLOOD_WINDOW)
    return AlarmQuality(
        start,
        end,
        len(times),
        len(times) / hours,
        _flood(times, end) / (end - start),
        int(in_ten.max(initial=0)),
        tuple(sorted(key for key, found in raises.items() if _chatters(found))),
        tuple(sorted(key for key, found in spells.items() if _stands(found, start, end))),
        tuple(sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:WORST]),
        tuple(sorted(Counter(f.for_whom for f in raised_in(facts, start, end)).items())),
    )


def raised_in(facts: Iterable[AlarmFact], start: int, end: int) -> list[AlarmFact]:
    """Give the facts with which a condition came in [start, end), in the order of their time."""
    standing: set[str] = set()
    found = []
    for fact in sorted(facts, key=lambda f: (f.time, f.active)):
        if fact.time >= end:
            break
        if fact.active and fact.fingerprint not in standing and fact.time >= start:
            found.append(fact)
        (standing.add if fact.active else standing.discard)(fact.fingerprint)
    return found


def _spells(facts: Sequence[AlarmFact]) -> dict[str, list[tuple[int, int | None]]]:
    """Give by fingerprint when the condition came and went; None: still there."""
    spells: dict[str, list[tuple[int, int | None]]] = defaultdict(list)
    for fact in sorted(facts, key=lambda f: (f.time, f.active)):
        found = spells[fact.fingerprint]
        open_spell = bool(found) and found[-1][1] is None
        if fact.active and not open_spell:
            found.append((fact.time, None))
        elif not fact.active and open_spell:
            found[-1] = (found[-1][0], fact.time)
    return spells


def _lately(times: Int64, window: int) -> Int64:
    """Give for each raise how many came in the window that ends with it."""
    first = np.searchsorted(times, times - window, "right")
    return np.asarray(np.arange(len(times)) - first + 1, np.int64)


def _chatters(raises: Sequence[int]) -> bool:
    times = np.array(raises, np.int64)
    return bool((_lately(times, CHATTER_WINDOW) >= CHATTER_FROM).any())


def _stands(spells: Sequence[tuple[int, int | None]], start: int, end: int) -> bool:
    return any(
        (gone or end) > start and (gone or end) - came >= STANDING_FROM for came, gone in spells
    )


def _flood(times: Int64, end: int) -> int:
    """Give the time in flood: from the raise that makes it until fewer than five are in sight."""
    total, began = 0, None
    moments = sorted({*times.tolist(), *(times + FLOOD_WINDOW).tolist(), end})
    for moment in (m for m in moments if m <= end):
        count = int(
            np.searchsorted(times, moment, "right")
            - np.searchsorted(times, moment - FLOOD_WINDOW, "right")
        )
        if began is None and count > FLOOD_ABOVE:
            began = moment
        elif began is not None and (count < FLOOD_OVER_BELOW or moment == end):
            total += moment - began
            began = None
    return total
