"""Plans a station's days one after another, from the calendar and the state of its filter."""

import datetime as dt
from collections.abc import Iterator
from zoneinfo import ZoneInfo

import numpy as np

from steadybead_domain.plant import Station
from steadybead_domain.times import SECOND
from steadybead_simulator.day import Act, Day, GunDay
from steadybead_simulator.people import LOOP, SHIFT, GunWork, Turn, slower
from steadybead_simulator.randomness import stream
from steadybead_simulator.scenario import Scenario, Setup, Welder
from steadybead_simulator.spans import union

LONG_BREAK_S = 1500.0
OTHER_WORK = 0.7


class Planner:
    """Gives one station's days in order; `plan` is asked day by day, since wear decides too."""

    def __init__(
        self, scenario: Scenario, station: Station, zone: str, seed: int, start_us: int
    ) -> None:
        self._scenario, self._station, self._seed = scenario, station, seed
        self._start_us = start_us
        self._zone = ZoneInfo(zone)
        self.setup: Setup = scenario.setup(station.id.station)
        self._rng_key = str(station.id)

    def bounds(self, number: int) -> tuple[float, float]:
        """Give [start, end) of day `number`, s since the scenario's start."""
        if self._scenario.calendar.kind == "loop":
            cycle = self._scenario.calendar.cycle_s
            start = number * cycle - self.setup.phase_s
            return start, start + cycle
        return self._midnight(number), self._midnight(number + 1)

    def _midnight(self, number: int) -> float:
        start = dt.datetime.fromtimestamp(self._start_us / SECOND, self._zone)
        day = dt.datetime.combine(
            start.date() + dt.timedelta(days=number), dt.time(), tzinfo=self._zone
        )
        return day.timestamp() - self._start_us / SECOND

    def plan(self, number: int, filter_drop_pa: float) -> Day:
        """Plan day `number`; the filter's drop at 100 L/min decides on a change."""
        start, end = self.bounds(number)
        rng = stream(self._seed, "people", self._rng_key, number + 1000)
        day = Day(start, end)
        loop = self._scenario.calendar.kind == "loop"
        guns = self._station.guns
        in_use = len(guns) if self.setup.guns_in_use is None else self.setup.guns_in_use
        for i, gun in enumerate(guns):
            day.guns[gun] = GunDay()
            busy = i < in_use and (i == 0 or loop or rng.random() < 0.7)
            if not busy:
                continue
            who = self._welder(i)
            if loop:
                self._loop(day, gun, who, rng, i)
            else:
                self._shift(day, gun, who, rng)
        day.tells.sort(key=lambda t: t.at_s)
        day.blower = union(g.air for g in day.guns.values())
        self._surroundings(day, rng, loop)
        if not loop:
            self._filter(day, rng, filter_drop_pa)
        return day

    def _welder(self, i: int) -> Welder:
        known = {w.name: w for w in self._scenario.welders}
        names = self.setup.welders or tuple(known)
        offset = 0 if self.setup.welders else stream(self._seed, "who", self._rng_key).integers(97)
        return known[names[(i + int(offset)) % len(names)]]

    def _stem(self, day: Day) -> str:
        moment = dt.datetime.fromtimestamp(self._start_us / SECOND + day.start_s, self._zone)
        return f"{self._station.id.station}-{moment:%Y%m%d%H%M%S}"

    def _loop(self, day: Day, gun: str, who: Welder, rng: np.random.Generator, i: int) -> None:
        """Plan a working day in small: switch on, warm up, weld, pause, cool, stand."""
        cycle = day.end_s - day.start_s
        rhythm = slower(LOOP, cycle)
        begin = day.start_s + 4.0 + 25.0 * i
        stop = day.end_s - rhythm.air_after[1] - 0.07 * cycle
        work = GunWork(day, gun, who, rhythm, rng=rng, stem=self._stem(day))
        work.fill([Turn(begin, stop, True, True)], min(who.warm_up_s, 0.26 * cycle))

    def _shift(self, day: Day, gun: str, who: Welder, rng: np.random.Generator) -> None:
        calendar = self._scenario.calendar
        moment = dt.datetime.fromtimestamp(
            self._start_us / SECOND + day.start_s + 43_200.0, self._zone
        )
        if moment.weekday() not in calendar.days:
            return
        work = GunWork(day, gun, who, SHIFT, rng=rng, stem=self._stem(day))
        work.fill(list(self._turns(day, rng)), who.warm_up_s)

    def _turns(self, day: Day, rng: np.random.Generator) -> Iterator[Turn]:
        calendar = self._scenario.calendar
        at = day.start_s + calendar.start_s + rng.uniform(60.0, 600.0)
        end = day.start_s + calendar.end_s - rng.uniform(300.0, 900.0)
        for first, last in calendar.breaks:
            begin = day.start_s + first + rng.uniform(-120.0, 60.0)
            yield from _split(Turn(at, begin, last - first >= LONG_BREAK_S, False), rng)
            at = day.start_s + last + rng.uniform(0.0, 240.0)
        yield from _split(Turn(at, end, True, True), rng)

    def _surroundings(self, day: Day, rng: np.random.Generator, loop: bool) -> None:
        """Power of the edge node, sawing nearby, outages of the link."""
        if loop:
            day.node.add(day.start_s, day.end_s)
        elif day.blower.pairs:
            first, last = day.blower.pairs[0][0], day.blower.pairs[-1][1]
            day.node.add(first - rng.uniform(240.0, 900.0), last + rng.uniform(300.0, 1500.0))
        for first, last in day.blower.pairs:
            hours = (last - first) / 3600.0
            for at in np.sort(rng.uniform(first, last, rng.poisson(self._sawing_per_h() * hours))):
                day.sawing.add(float(at), float(at) + float(rng.uniform(40.0, 420.0)))
            if not loop and rng.random() < self.setup.outages_per_day:
                at_s = float(rng.uniform(first, last))
                day.outages.add(at_s, at_s + float(rng.uniform(60.0, 1800.0)))

    def _sawing_per_h(self) -> float:
        return self._scenario.dust.sawing_per_day / 8.0

    def _filter(self, day: Day, rng: np.random.Generator, drop_pa: float) -> None:
        """Tap or change a filter that somebody at last finds too full."""
        if not day.blower.pairs:
            return
        who = self._welder(0)
        excess = drop_pa / who.changes_filter_at_pa
        if excess < 1.0 or rng.random() > min(0.35 * excess, 0.9):
            return
        at = day.blower.pairs[0][0] - float(rng.uniform(60.0, 200.0))
        recorded = bool(rng.random() < who.records_change)
        if rng.random() < 0.25:
            share = float(rng.uniform(0.3, 0.7))
            day.tapped.append((at, share))
            day.acts.append(
                Act("filter_tapped_out", None, at, None, 100.0 * share, "%", recorded, who.name)
            )
        else:
            day.tapped.append((at, 1.0))
            day.acts.append(
                Act("filter_changed", None, at, None, drop_pa, "Pa", recorded, who.name)
            )


def _split(turn: Turn, rng: np.random.Generator) -> Iterator[Turn]:
    """Now and then there is other work for an hour or two, and the gun is switched off."""
    idle = rng.uniform(2400.0, 7200.0)
    begin = rng.uniform(turn.start_s, turn.end_s)
    fits = begin - turn.start_s > 1800.0 and turn.end_s - begin - idle > 1800.0
    if fits and rng.random() < OTHER_WORK:
        yield Turn(turn.start_s, begin, True, False)
        yield Turn(begin + idle, turn.end_s, turn.heat_off, turn.last)
    else:
        yield turn
