"""Welders: how they spend a shift, what they tell and what they forget.

All habits are assumptions (common practice, no source), drawn from the seed.
"""

from dataclasses import dataclass, replace

import numpy as np

from steadybead_simulator.day import Act, Day, GunDay, Tell, TrueWeld
from steadybead_simulator.scenario import Welder

ROUND, SPEED, TACKING = "round", "speed", "tacking"


@dataclass(frozen=True, slots=True)
class Rhythm:
    """How long things take, in s (from–to where two are given)."""

    heat_after: tuple[float, float] = (15.0, 90.0)
    runs: tuple[int, int] = (2, 8)
    run: tuple[float, float] = (60.0, 240.0)
    gap: tuple[float, float] = (12.0, 50.0)
    fit_up: tuple[float, float] = (150.0, 900.0)
    air_after: tuple[float, float] = (170.0, 330.0)
    tacking: float = 0.3
    tell: tuple[float, float] = (2.0, 20.0)
    late: tuple[float, float] = (60.0, 1200.0)
    tacking_wait: float = 30.0


SHIFT = Rhythm()
LOOP = Rhythm(
    (3.0, 6.0), (2, 3), (22.0, 40.0), (6.0, 12.0), (15.0, 30.0), (205.0, 220.0), 0.0, (1.0, 3.0),
    (8.0, 20.0), 10.0,
)  # fmt: skip


@dataclass(slots=True)
class Turn:
    """One stretch of work of one welder at one gun, between breaks."""

    start_s: float
    end_s: float
    heat_off: bool
    last: bool


class GunWork:
    """Fills a gun's day with what its welder does."""

    def __init__(
        self,
        day: Day,
        gun: str,
        who: Welder,
        rhythm: Rhythm,
        *,
        rng: np.random.Generator,
        stem: str,
    ) -> None:
        self.day, self.gun, self.who, self.rhythm, self.rng = day, gun, who, rhythm, rng
        self.out = day.guns.setdefault(gun, GunDay())
        self._stem = stem
        self._seams = 0
        self._hot = False

    def fill(self, turns: list[Turn], warm_up_s: float) -> None:
        """Lay the turns one after another."""
        for turn in turns:
            start = turn.start_s
            if not self._hot:
                start = self._switch_on(turn, warm_up_s)
            end = self._seams_until(start, turn.end_s)
            self._finish(turn, max(end, turn.end_s))

    def _between(self, span: tuple[float, float]) -> float:
        return float(self.rng.uniform(*span))

    def _chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def _switch_on(self, turn: Turn, warm_up_s: float) -> float:
        self._air_on = turn.start_s
        self._heat_on = turn.start_s + self._between(self.rhythm.heat_after)
        if self._chance(self.who.opens_valve):
            flow = self.who.flow_l_min * float(self.rng.normal(1.0, 0.012))
            self.out.valve.append((turn.start_s, flow))
            self.day.acts.append(
                Act("valve_set", self.gun, turn.start_s, None, flow, "L/min", detail=self.who.name)
            )
        self.out.nozzles.append((turn.start_s, SPEED if self._chance(0.75) else ROUND))
        self._hot = True
        wait = warm_up_s * float(np.exp(self.rng.normal(0.0, 0.15)))
        return self._heat_on + wait

    def _seams_until(self, t: float, end: float) -> float:
        while t + self.rhythm.run[0] < end:
            if self._chance(self.rhythm.tacking):
                t = self._tack(t)
            t = self._seam(t, end)
            t += self._between(self.rhythm.fit_up) * self.who.pace
        return min(t, end)

    def _tack(self, t: float) -> float:
        """Change to the tacking nozzle, wait until it is hot, tack, change back and wait again."""
        before = self.out.nozzles[-1][1]
        self.out.nozzles.append((t, TACKING))
        t += self.rhythm.tacking_wait * self.rng.uniform(0.8, 1.6)
        for _ in range(int(self.rng.integers(3, 9))):
            lasts = self.rng.uniform(4.0, 12.0)
            self._in_hand(t, t + lasts)
            t += lasts + self.rng.uniform(4.0, 15.0)
        self.out.nozzles.append((t, before))
        return t + self.rhythm.tacking_wait * self.rng.uniform(1.0, 2.0)

    def _in_hand(self, start: float, end: float) -> None:
        self.out.weld.add(start, end)
        self.out.hand.add(start - 4.0, end + 3.0)

    def _seam(self, t: float, end: float) -> float:
        first = t
        for _ in range(int(self.rng.integers(self.rhythm.runs[0], self.rhythm.runs[1] + 1))):
            lasts = self._between(self.rhythm.run) * self.who.pace
            if t + lasts > end and t > first:
                break
            lasts = min(lasts, max(end - t, self.rhythm.run[0]))
            self._in_hand(t, t + lasts)
            last = t + lasts
            t = last + self._between(self.rhythm.gap)
        self._record(first, last)
        return last

    def _record(self, first: float, last: float) -> None:
        self._seams += 1
        weld = f"{self._stem}-{self.gun}-{self._seams}"
        seam, job = f"s{self._seams}", f"j{int(self.rng.integers(100, 140))}"
        told_start: float | None = None
        told_stop: float | None = None
        name = self.who.name
        if not self._chance(self.who.forgets_start):
            told_start = first - self._between(self.rhythm.tell)
            tells = [Tell(told_start, "start", self.gun, weld, seam, job, name)]
            if not self._chance(self.who.forgets_stop):
                late = self._chance(self.who.stops_late)
                told_stop = last + self._between(self.rhythm.late if late else self.rhythm.tell)
                tells.append(Tell(told_stop, "stop", self.gun, weld, seam, job, name))
            if told_start < 0.0:  # the shop begins in the middle of this weld: nobody heard of it
                told_start = told_stop = None
            else:
                self.day.tells += tells
        self.day.welds.append(TrueWeld(weld, self.gun, first, last, told_start, told_stop, name))

    def _finish(self, turn: Turn, t: float) -> None:
        if not (turn.heat_off or turn.last):
            return
        cool = self._between(self.rhythm.air_after)
        if not turn.last and self._chance(self.who.forgets_heat):
            self._act("heat_forgotten", t, None)
            return
        air_end = t + cool
        if self._chance(self.who.stops_air_early):
            air_end = t + self.rng.uniform(0.0, 15.0)
            self._act("air_stopped_early", air_end, None)
        self.out.heat.add(self._heat_on, t)
        self.out.air.add(self._air_on, air_end)
        self._hot = False

    def _act(self, kind: str, start: float, end: float | None) -> None:
        self.day.acts.append(Act(kind, self.gun, start, end, detail=self.who.name))


def slower(rhythm: Rhythm, cycle_s: float) -> Rhythm:
    """Stretch the loop's rhythm to longer cycles."""
    times = max(cycle_s / 600.0, 0.5)
    a, b = rhythm.run
    return replace(rhythm, run=(a * times, b * times))
