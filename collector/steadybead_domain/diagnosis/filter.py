"""Restriction of an intake filter with a pressure-drop channel, and when it reaches its limit.

The drop is brought to one flow, its growth over the air volume weighed between straight line and
exponential (see `filter_growth`), and the time still to run given with an 80 % interval. A sudden
rise or fall suspends the forecast and asks what was done. It watches the drop only: how clean the
air is, is not measured.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import exp
from statistics import fmean, median
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.filter_bins import RunBins
from steadybead_domain.diagnosis.filter_data import (
    Flow,
    Noise,
    Sample,
    Spacing,
    TimeGuard,
    Zero,
    dumped,
    guard_dumped,
    guard_loaded,
)
from steadybead_domain.diagnosis.filter_growth import Growth, RunSeen, growth

SHIFT_S = 8 * 3600.0
NOTICE_S = 3 * SHIFT_S  # a change is announced so long before, but
NOTICE_SHARE = 0.25  # not before this share of the life is left,
QUICK_SHARE = 0.16  # or this one of a life shorter than two such notices
FEWEST_BINS = 10
NOT_DUE = 2.0  # times that notice: a change that was announced is taken back only beyond it
BACK = 0.85  # of the limit: below it the limit is no longer reached
EVERY = 0.03  # an update each time so much more has passed,
EVERY_AHEAD = 0.25  # and oftener near the end: for this share of what is to come
WIDEST = 12.0  # high over low: beyond it nothing is said
FURTHEST = 30.0  # times what has passed: beyond it nothing is said
FLOOR = 0.003  # of the limit: no mean is better
CLIPPED = 0.01  # of the limit: what clipping at zero may hide
JUMP_SHARE = 0.3
JUMP_OF_LIMIT = 0.04
JUMP_SIGMA = 6.0
JUMP_SAMPLES = 20
JUMP_AT_ONCE = 5
FEWEST = 2  # samples before anything is said of the limit
SHORT_RUN, LONG_RUN = 24, 600  # samples: the limit is judged by 2, then by 9, then by 20 of them

REACHED = "the pressure drop has reached its limit: change the filter"
DUE = "the filter nears its limit: plan the change"
ROSE = "the drop rose at once: look for a blocked intake, a cover or a sheet of film before it"
FELL = (
    "the drop fell at once: filter changed, tapped out or torn, tube off, or has the sensor's zero"
    " moved? forecast begins anew"
)
SHORT = "too little seen yet"
OPEN = "growth too uncertain for a forecast"
NO_LIMIT = "no limit given: only the growth is told"


@dataclass(frozen=True, slots=True)
class FilterUpdate:
    """What is known at `time_s`; None where it cannot be said.

    `resistance` is the drop at the usual flow in Pa; `growth_per_h` its relative growth in an
    hour of running; `remaining_s` with `low_s` and `high_s`, the bounds of the 80 % interval,
    are running time until the drop at the usual flow reaches the limit.
    """

    time_s: float
    resistance: float | None
    growth_per_h: float | None
    remaining_s: float | None
    low_s: float | None
    high_s: float | None
    finding: str | None


class FilterTracker:
    """Sees one filter's log sample by sample; memory and cost per sample do not grow.

    `limit_pa` None: growth only. Updates come about every 3 % of what has passed, and at once
    when the limit is reached or the drop jumps.
    """

    def __init__(self, limit_pa: float | None, least_flow: float = 0.0) -> None:
        self.limit_pa = limit_pa
        self.guard, self.spacing, self.noise = TimeGuard(), Spacing(), Noise()
        self.flow, self.zero, self.bins = Flow(), Zero(), RunBins()
        self.flow.least = least_flow
        self.time_s: float | None = None
        self.x = 0.0
        self.began = 0.0
        self.running_s = 0.0
        self.highest = 0.0
        self.five: list[tuple[float, float | None]] = []
        self.lately: list[float] = []
        self.expected: float | None = None
        self.unlike = 0
        self.asked = ""
        self.reached = False
        self.next_x = 0.0
        self.climb = 0.0
        self.due = False

    def update(self, sample: Sample) -> list[FilterUpdate]:
        """Take a row; give what it lets be said."""
        return [u for held in self.guard.pass_on(sample) for u in self._take(held)]

    def begin_anew(self) -> None:
        """Forget the run so far: the filter was changed. Flow, zero and noise stay known."""
        self._forget("")
        self.five, self.lately = [], []

    def fell(self, time_s: float) -> FilterUpdate:
        """Begin anew, as the drop was seen to fall by less than the tracker itself calls a jump."""
        self._forget(FELL)
        return self._said(time_s)

    def _forget(self, asked: str) -> None:
        self.bins, self.began, self.next_x = RunBins(), self.x, 0.0
        self.expected, self.unlike, self.climb = None, 0, 0.0
        self.reached, self.due, self.asked = False, False, asked

    def finish(self) -> list[FilterUpdate]:
        """Give what the last row lets be said, and a last word."""
        updates = [u for held in self.guard.rest() for u in self._take(held)]
        if self.time_s is None or (updates and updates[-1].time_s == self.time_s):
            return updates
        return [*updates, self._said(self.time_s)]

    def _take(self, sample: Sample) -> Iterator[FilterUpdate]:
        step_s = 0.0
        if self.time_s is not None:
            step_s = self.spacing.running(sample.time_s - self.time_s)
        self.time_s = sample.time_s
        if not self.flow.runs(sample.flow):
            self.zero.update(sample.drop_pa)
            self.flow.recent.clear()
            return
        self.noise.update(sample.drop_pa)
        clean = sample.drop_pa - (self.zero.offset_pa or 0.0)
        least = max(5.0 * self.noise.sigma, 0.03 * self.scale_pa)
        self._rescale(self.flow.update(sample.flow, clean, least))
        self.running_s += step_s
        relative = (
            1.0 if sample.flow is None or not self.flow.first else (sample.flow / self.flow.first)
        )
        step = step_s * relative
        self.x += step
        self.five = [*self.five[-4:], (clean, sample.flow)]
        drop, away = self._typical()
        self.highest = max(self.highest, drop)
        at_flow = drop * exp(self.flow.exponent * away)
        self.lately = [*self.lately[1 - JUMP_SAMPLES :], at_flow]
        newly_reached = not self.reached and self._has_reached(step)
        if self._jumped(drop, at_once=newly_reached):
            yield self._said(sample.time_s)
            return
        at_zero = sample.drop_pa <= 0.0
        begun = self.bins.add(self.x - self.began, drop, away, at_zero=at_zero)
        self.reached = newly_reached or (self.reached and self._lies_above(BACK, JUMP_SAMPLES))
        timely = self.x - self.began >= self.next_x
        if newly_reached or (timely and (begun or self.expected is not None)):
            yield self._said(sample.time_s)

    def _rescale(self, factor: float) -> None:
        """Bring what is remembered to a usual flow that has become another."""
        if factor == 1.0:
            return
        self.bins.scale(factor)
        self.lately = [drop * factor for drop in self.lately]
        self.highest *= factor
        if self.expected is not None:
            self.expected *= factor

    def _typical(self) -> tuple[float, float]:
        """Give the drop of the last five samples at the reference flow, spikes left out."""
        flows = [flow for _, flow in self.five if flow is not None]
        factor, away = self.flow.to_reference(median(flows) if flows else None)
        return median(drop for drop, _ in self.five) * factor, away

    @property
    def scale_pa(self) -> float:
        """Give the limit at the reference flow, or what stands in for it."""
        if self.limit_pa is None:
            return max(2.0 * self.highest, 1.0)
        return self.limit_pa / self.flow.present

    def _has_reached(self, step: float) -> bool:
        """Tell whether the limit is reached; the mean's lag is made good by the growth."""
        seen = sum(self.bins.n)
        if self.limit_pa is None or seen < FEWEST:
            return False
        if seen < SHORT_RUN:
            return min(self._newest_two()) >= self.limit_pa
        count = 9 if seen < LONG_RUN else JUMP_SAMPLES
        lag = 0.5 * (count - 1) + 2.0
        return fmean(self.lately[-count:]) + self.climb * lag * step >= self.scale_pa

    def _newest_two(self) -> list[float]:
        """Give the last two drops at the flow that is usual now, as the limit is meant."""
        found = []
        for drop, flow in self.five[-2:]:
            factor, away = self.flow.to_reference(flow)
            found.append(drop * factor * exp(self.flow.exponent * away) * self.flow.present)
        return found

    def _resistance_so_far(self) -> float | None:
        """Give the drop at the usual flow while nothing is known of its growth."""
        if self._reached_early():
            return fmean(self._newest_two())
        return fmean(self.lately) * self.flow.present if self.lately else None

    def _reached_early(self) -> bool:
        """Tell whether the limit was judged by two drops: a level of more of them lags behind."""
        return self.reached and sum(self.bins.n) < SHORT_RUN

    def _lies_above(self, share: float, count: int) -> bool:
        """Tell whether the mean of the last `count` drops lies above a share of the limit."""
        if self.limit_pa is None:
            return False
        return fmean(self.lately[-count:]) >= share * self.scale_pa

    def _jumped(self, drop: float, *, at_once: bool) -> bool:
        """Tell whether the drop has left its course for good; then begin anew.

        `at_once`: it has come to the limit, so that a rise need not last as long. Beyond the
        limit, where no curve goes, only a fall counts.
        """
        if self.expected is None:
            return False
        least = max(
            JUMP_SIGMA * self.noise.sigma,
            JUMP_SHARE * self.expected,
            JUMP_OF_LIMIT * self.scale_pa,
        )
        rose = drop > self.expected + least and not self.reached
        way = int(rose) - int(drop < self.expected - least)
        self.unlike = self.unlike + way if way and self.unlike * way >= 0 else way
        if abs(self.unlike) < (JUMP_AT_ONCE if at_once and way > 0 else JUMP_SAMPLES):
            return False
        self._forget(ROSE if way > 0 else FELL)
        return True

    def _said(self, time_s: float) -> FilterUpdate:
        known = self._growth()
        if known is None:
            resistance = self._resistance_so_far()
            finding = self.asked or (REACHED if self.reached else SHORT)
            return FilterUpdate(time_s, resistance, None, None, None, None, finding)
        passed = self.x - self.began
        until_next = min(EVERY, EVERY_AHEAD * known.ahead[1])
        self.next_x = passed * (1.0 + until_next)
        self.expected = known.level * self.scale_pa
        per_s = self.x / self.running_s
        level = known.level * self.scale_pa * self.flow.present
        per_h = known.rate / passed * per_s * 3600.0
        self.climb = known.rate / passed * self.expected
        if self.reached:
            shown = fmean(self._newest_two()) if self._reached_early() else level
            return FilterUpdate(time_s, shown, per_h, 0.0, 0.0, 0.0, REACHED)
        if self.limit_pa is None:
            return FilterUpdate(time_s, level, per_h, None, None, None, self.asked or NO_LIMIT)
        low, middle, high = known.ahead
        if high > WIDEST * low or high > FURTHEST:
            return FilterUpdate(time_s, level, per_h, None, None, None, self.asked or OPEN)
        self.asked = ""
        to_s = passed / per_s
        life_s = (1.0 + middle) * to_s
        share = NOTICE_SHARE if life_s > 2.0 * NOTICE_S else QUICK_SHARE
        notice_s = min(NOTICE_S, share * life_s)
        before_next = (low - until_next) * to_s
        self.due = before_next < notice_s * (NOT_DUE if self.due else 1.0)
        said = DUE if self.due else None
        return FilterUpdate(time_s, level, per_h, middle * to_s, low * to_s, high * to_s, said)

    def _growth(self) -> Growth | None:
        if len(self.bins.n) <= FEWEST_BINS:
            return None
        x, y, n, zeros, away = self.bins.whole()
        passed = self.x - self.began
        if len(x) < FEWEST_BINS or passed <= 0:
            return None
        scale = self.scale_pa
        noise = self.noise.sigma / scale / np.sqrt(n) + FLOOR + CLIPPED * (zeros > 0.2)
        return growth(RunSeen(x / passed, y / scale, noise, away, self.flow.exponent))

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return (
            {name: getattr(self, name) for name in _PLAIN}
            | {name: dumped(getattr(self, name)) for name in _PARTS}
            | {"guard": guard_dumped(self.guard)}
        )

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        for name in _PLAIN:
            setattr(self, name, data[name])
        for name, kind in _PARTS.items():
            setattr(self, name, kind(**data[name]))
        self.guard = guard_loaded(data["guard"])
        self.five = [(drop, flow) for drop, flow in data["five"]]
        self.flow.recent = [(a, b) for a, b in data["flow"]["recent"]]


_PLAIN = (
    "time_s",
    "x",
    "began",
    "running_s",
    "highest",
    "five",
    "lately",
    "expected",
    "unlike",
    "asked",
    "reached",
    "next_x",
    "climb",
    "due",
)
_PARTS: dict[str, Any] = {
    "spacing": Spacing,
    "noise": Noise,
    "flow": Flow,
    "zero": Zero,
    "bins": RunBins,
}
