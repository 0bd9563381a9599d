"""How often people are called in a quiet month: `python tests/bench/quiet_month.py`.

A simulated shop without a single fault of its equipment, but with the habits of its people, over
28 days. Whoever is called acknowledges five minutes later, in working hours (an assumption).
Seeds below 1000 are for tuning; the figures of the README come from 5001 on.
"""

import argparse
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1])]

from simulated_shop import MONDAY  # noqa: E402  the path comes first
from steadybead_collector.records.procedure_file import read_procedures  # noqa: E402
from steadybead_domain.alarms.model import (  # noqa: E402
    ActKind,
    Alarm,
    AlarmAct,
    AlarmFact,
    AlarmState,
    Priority,
)
from steadybead_domain.alarms.notices import Notice, Router  # noqa: E402
from steadybead_domain.alarms.quality import alarm_quality, raised_in  # noqa: E402
from steadybead_domain.alarms.receivers import Hours, Receiver  # noqa: E402
from steadybead_domain.alarms.state import alarm_state  # noqa: E402
from steadybead_domain.calendar import WorkCalendar  # noqa: E402
from steadybead_domain.diagnosis.station import StationDiagnosis  # noqa: E402
from steadybead_domain.plant import Plant  # noqa: E402
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND  # noqa: E402
from steadybead_simulator.history import history  # noqa: E402
from steadybead_simulator.plants import plant_of  # noqa: E402
from steadybead_simulator.scenario import Scenario, Welder  # noqa: E402

TICK = 30 * SECOND
ANSWERS_AFTER = 5 * MINUTE
SHIFT = ((420, 555), (570, 720), (750, 945))
CALENDAR = WorkCalendar("Europe/Lisbon", hours=SHIFT)
QUIET = Scenario(welders=(Welder("w-1"), Welder("w-2"), Welder("w-3")))
RECEIVERS = (
    Receiver("welders", frozenset({"welder"}), Priority.LOW),
    Receiver("maintenance", frozenset({"maintenance"})),
    Receiver("maintenance, low too", frozenset({"maintenance"}), Priority.LOW, hours=Hours.WORKING),
)


@dataclass
class Quiet:
    """What a quiet stretch gave."""

    plant: Plant
    days: int
    facts: list[AlarmFact] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)

    @property
    def shifts(self) -> int:
        """Count station-shifts: one welder's place on one working day."""
        day = 11 * HOUR
        working = [d for d in range(self.days) if CALENDAR.is_open(MONDAY + d * DAY + day)]
        return len(working) * len(self.plant.stations)

    def of_welders(self) -> list[AlarmFact]:
        """List the alarms that called a welder."""
        end = MONDAY + self.days * DAY
        return [f for f in raised_in(self.facts, MONDAY, end) if f.for_whom == "welder"]

    def worst_shift(self) -> int:
        """Give the most alarms of one station on one day."""
        counted = Counter((f.station, (f.time - MONDAY) // DAY) for f in self.of_welders())
        return max(counted.values(), default=0)

    def a_day(self, receiver: str) -> Counter[int]:
        """Count a receiver's notices by day."""
        return Counter((n.time - MONDAY) // DAY for n in self.notices if n.receiver == receiver)


def quiet(stations: int, days: int, seed: int) -> Quiet:
    """Let the shop work, and route its alarms."""
    plant = plant_of(stations)
    found = Quiet(plant, days)
    procedures = {p.id: p for p in read_procedures()}
    watched = {s.id: StationDiagnosis(s, procedures) for s in plant.stations}
    for block in history(plant, QUIET, seed, MONDAY, MONDAY + days * DAY):
        for event in block.weld_events:
            watched[event.station].note(event)
        for station, diagnosis in watched.items():
            mine = {c: rows for c, rows in block.columns.items() if c.station_id == station}
            diagnosis.push(mine)
            found.facts += diagnosis.advance(block.received).facts
    found.notices = list(_routed(plant, found.facts, MONDAY + days * DAY))
    return found


def _routed(plant: Plant, facts: Sequence[AlarmFact], end: int) -> Iterator[Notice]:
    router = Router(RECEIVERS, CALENDAR, "north", {s.id: s.name for s in plant.stations})
    told: dict[str, list[AlarmFact]] = defaultdict(list)
    acts: dict[str, list[AlarmAct]] = defaultdict(list)
    waiting = sorted(facts, key=lambda f: f.time)
    now = MONDAY
    while now < end:
        while waiting and waiting[0].time <= now:
            fact = waiting.pop(0)
            if fact.active or fact.alarm in told:  # what is over can only be taken over
                told[fact.alarm].append(fact)
        alarms = [alarm_state(f, acts[a], now) for a, f in told.items()]
        over = [a for a in alarms if a.state is AlarmState.NORMAL]
        for alarm in over:
            if now - told[alarm.raised.alarm][-1].time > HOUR:
                del told[alarm.raised.alarm]
        standing = [a for a in alarms if a.state is not AlarmState.NORMAL]
        for alarm in standing:
            acts[alarm.raised.alarm] += _answer(alarm, now)
        yield from router.decide(now, standing)
        now = now + TICK if told or not waiting else max(now + TICK, waiting[0].time)
        if not told and not waiting:
            return


def _answer(alarm: Alarm, now: int) -> list[AlarmAct]:
    """Acknowledge what is due: a latched alarm once more after its condition has gone."""
    unseen = (
        AlarmState.UNACKNOWLEDGED,
        AlarmState.RETURNED,
        AlarmState.LATCHED_UNACKNOWLEDGED,
        AlarmState.LATCHED_ACKNOWLEDGED,
    )
    since = max(alarm.last_raised, alarm.cleared or 0)
    if alarm.state not in unseen or now < CALENDAR.opens(since) + ANSWERS_AFTER:
        return []
    name = alarm.raised.alarm
    return [AlarmAct(name, ActKind.ACKNOWLEDGE, now, "ann", None, "", alarm.last_raised)]


def report(found: Quiet) -> Iterator[str]:
    """Write the figures as a Markdown table."""
    quality = alarm_quality(found.facts, MONDAY, MONDAY + found.days * DAY)
    calls = len(found.of_welders()) / found.shifts
    yield "| what | figure | goal | met |"
    yield "| --- | --- | --- | --- |"
    yield f"| welder: alarms a shift | {calls:.2f} | ≤ 1 | {_met(calls <= 1)} |"
    yield f"| welder: most in one shift | {found.worst_shift()} |  |  |"
    for name in ("maintenance", "maintenance, low too"):
        days = found.a_day(name)
        mean, most = sum(days.values()) / found.days, max(days.values(), default=0)
        yield f"| {name}: messages a day | {mean:.2f} | ≤ 1 | {_met(mean <= 1)} |"
        yield f"| {name}: most on one day | {most} |  |  |"
    yield f"| share of the time in flood | {quality.flood_share:.4f} |  |  |"
    yield f"| chattering conditions | {len(quality.chattering)} |  |  |"


def _met(is_met: bool) -> str:
    return "yes" if is_met else "**no**"


def main(words: Sequence[str] | None = None) -> int:
    """Measure and print; exit code 1 if a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stations", type=int, default=3)
    parser.add_argument("--days", type=int, default=28)
    parser.add_argument("--seed", type=int, default=5001)
    asked = parser.parse_args(words)
    lines = list(report(quiet(asked.stations, asked.days, asked.seed)))
    sys.stdout.write("\n".join(lines) + "\n")
    return 1 if any("**no**" in line for line in lines) else 0


if __name__ == "__main__":
    sys.exit(main())
