"""A filter's raw log made usable: order of time, spikes, running time, flow, the sensor's zero."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from math import exp, log
from statistics import median
from typing import Any

FLOW_EXPONENT = 1.2  # before anything is learnt: between laminar 1 and turbulent 2
EXPONENT_TRUST = 0.2  # what that is worth, in (d ln Q)²
LONG_GAP = 20.0  # times the usual spacing: more than that is a pause
FLOW_BINS, FLOW_BIN, FLOW_NEAR = 61, 0.05, 3
LATELY = 4.0  # the usual flow is the mean of the last quarter of those like it
NEAR, FAR = 0.08, 0.2  # of ln Q: as usual, and clearly not
FIRST = 5
AT_REST = 0.5  # of the highest flow seen
RUNNING = 0.4  # of the usual flow: less than that is a pause


@dataclass(frozen=True, slots=True)
class Sample:
    """One row of a log; `flow` None where there is none."""

    time_s: float
    drop_pa: float
    flow: float | None = None


@dataclass(slots=True)
class TimeGuard:
    """Passes samples on in ascending time, one behind, and leaves out a single bad time stamp.

    The first five wait for each other: with them there is no time before to compare with.
    """

    first: list[Sample] | None = field(default_factory=list)
    before: float | None = None
    held: Sample | None = None
    left_out: int = 0

    def pass_on(self, sample: Sample) -> Iterator[Sample]:
        """Take a sample, give those before it whose time can be right."""
        if self.first is not None:
            self.first.append(sample)
            if len(self.first) == FIRST:
                yield from self._begin()
            return
        held, before = self.held, self.before
        if held is None or sample.time_s > held.time_s:
            self.held = sample
            if held is not None:
                self.before = held.time_s
                yield held
            return
        self.left_out += 1
        if before is None or sample.time_s > before:
            self.held = sample

    def _begin(self) -> Iterator[Sample]:
        samples, self.first = self.first or [], None
        right = _in_order(samples)
        self.left_out += len(samples) - len(right)
        for sample in right:
            yield from self.pass_on(sample)

    def rest(self) -> Iterator[Sample]:
        """Give what waits."""
        if self.first:
            yield from self._begin()
        if self.held is not None:
            yield self.held
            self.held = None


def _in_order(samples: list[Sample]) -> list[Sample]:
    """Give the most samples whose times ascend, the closest together if there is a choice."""
    choices = [
        list(chosen)
        for size in range(len(samples), 0, -1)
        for chosen in combinations(samples, size)
        if all(a.time_s < b.time_s for a, b in pairwise(chosen))
    ]
    longest = [c for c in choices if len(c) == len(choices[0])]
    best = min(longest, key=lambda c: c[-1].time_s - c[0].time_s)
    steps = [b.time_s - a.time_s for a, b in pairwise(best)]
    lonely = len(steps) > 2 and steps[0] > LONG_GAP * max(steps[1:])
    return best[1:] if lonely else best


@dataclass(slots=True)
class Spacing:
    """The usual spacing of samples, and how much of a step counts as running time."""

    usual_s: float | None = None
    count: int = 0

    def running(self, step_s: float) -> float:
        """Give the running time of a step: a long gap counts as one usual spacing."""
        self.count += 1
        if self.usual_s is None:
            self.usual_s = step_s
        self.usual_s *= exp(0.5 * _sign(step_s - self.usual_s) / min(self.count, 50))
        return step_s if step_s <= LONG_GAP * self.usual_s else self.usual_s


@dataclass(slots=True)
class Noise:
    """Standard deviation of single samples, from their differences; a spike weighs little."""

    sigma: float = 0.0
    last: float | None = None
    count: int = 0

    def update(self, value: float) -> None:
        """Take the next sample."""
        if self.last is not None:
            size = abs(value - self.last) / 1.128  # mean |difference| of two normal samples
            self.count += 1
            if self.count > 20:
                size = min(size, 4.0 * self.sigma + 1e-9)
            self.sigma += (size - self.sigma) / min(self.count, 200)
        self.last = value


@dataclass(slots=True)
class Flow:
    """The usual flow, whether air runs, and the exponent with which the drop follows the flow.

    `usual` is the present flow of the kind below which 80 % of the running time lies: with two
    guns on one filter that of both, which reaches the limit first. `reference` is where it began:
    drops are compared there. Below `least` no air runs,
    whatever is usual.
    """

    least: float = 0.0
    peak: float = 0.0
    usual: float | None = None
    reference: float | None = None
    product: float = 0.0
    square: float = 0.0
    recent: list[tuple[float, float]] = field(default_factory=list)
    first: float | None = None
    seen: int = 0
    alike: int = 0
    count: list[float] = field(default_factory=lambda: [0.0] * FLOW_BINS)
    total: list[float] = field(default_factory=lambda: [0.0] * FLOW_BINS)

    @property
    def exponent(self) -> float:
        """Give n of drop ∝ flow^n, as far as changes of the flow have shown it."""
        learnt = FLOW_EXPONENT * EXPONENT_TRUST + self.product
        return min(2.0, max(0.8, learnt / (EXPONENT_TRUST + self.square)))

    def runs(self, flow: float | None) -> bool:
        """Tell whether air runs; without a flow it is taken to."""
        if flow is None:
            return True
        self.peak = max(self.peak, flow)
        return flow > self.least and flow > RUNNING * max(self.usual or 0.0, AT_REST * self.peak)

    def update(self, flow: float | None, drop_pa: float, least_pa: float) -> float:
        """Take a running sample's flow and its drop, the sensor's zero taken off.

        Gives the factor on drops that were brought to the usual flow before: not 1 where another
        number of guns has become usual.
        """
        if flow is None or flow <= 0:
            return 1.0
        if self.first is None:
            self.first = flow
        place = round(log(flow / self.first) / FLOW_BIN) + FLOW_BINS // 2
        place = min(FLOW_BINS - 1, max(0, place))
        self.seen += 1
        self.count[place] += self.seen
        self.total[place] += self.seen * flow
        centre = self._centre()
        usual, before = self.usual or centre, self.reference or centre
        self.reference = before
        if abs(log(usual / centre)) > FAR:
            usual = self.reference = centre
            self.alike = 0
        if abs(log(flow / centre)) < FAR:
            self.alike += 1
            usual += (flow - usual) * min(1.0, LATELY / self.alike)
        self.usual = usual
        self._learn(flow, drop_pa, least_pa)
        return exp(self.exponent * log(self.reference / before))

    def _centre(self) -> float:
        """Give the mean of the flows about the one below which 80 % lie, the late ones heavier."""
        above, place = 0.2 * sum(self.count), FLOW_BINS - 1
        while place > 0 and above >= self.count[place]:
            above -= self.count[place]
            place -= 1
        near = slice(max(0, place - FLOW_NEAR), place + FLOW_NEAR + 1)
        return sum(self.total[near]) / sum(self.count[near])

    def _learn(self, flow: float, drop_pa: float, least_pa: float) -> None:
        if drop_pa <= least_pa:
            self.recent.clear()
            return
        point = (log(flow), log(drop_pa))
        self.recent = [*self.recent[-2:], point]
        d_flow, d_drop = point[0] - self.recent[0][0], point[1] - self.recent[0][1]
        if len(self.recent) == 3 and abs(d_flow) > 0.15:
            self.product += d_flow * d_drop
            self.square += d_flow * d_flow

    @property
    def present(self) -> float:
        """Give the factor that brings a drop at the reference flow to the usual flow."""
        if self.usual is None or self.reference is None:
            return 1.0
        return exp(self.exponent * log(self.usual / self.reference))

    def to_reference(self, flow: float | None) -> tuple[float, float]:
        """Give the factor that brings a drop to the reference flow, and ln of the rest of it.

        A flow near the reference is left as it is, all of it in the rest: whether the drop follows
        such small changes, or whether they are the meter's noise, the growth shows later.
        """
        if flow is None or flow <= 0 or self.reference is None:
            return 1.0, 0.0
        away = log(self.reference / flow)
        part = min(1.0, max(0.0, (abs(away) - NEAR) / (FAR - NEAR)))
        part *= part * (3.0 - 2.0 * part)
        return exp(self.exponent * away * part), away * (1.0 - part)


@dataclass(slots=True)
class Zero:
    """The sensor's zero, read where no air runs; None until it was seen."""

    values: list[float] = field(default_factory=list)

    def update(self, drop_pa: float) -> None:
        """Take a sample without air."""
        self.values = [*self.values[-14:], drop_pa]

    @property
    def offset_pa(self) -> float | None:
        """Give the offset."""
        return median(self.values[3:]) if len(self.values) > 6 else None


def _sign(value: float) -> float:
    return 1.0 if value > 0 else -1.0 if value < 0 else 0.0


def dumped(part: Any) -> dict[str, Any]:
    """Give a part's memory as JSON."""
    return {name: getattr(part, name) for name in part.__slots__}


def guard_dumped(guard: TimeGuard) -> dict[str, Any]:
    """Give a time guard's memory as JSON."""
    first, held = guard.first, guard.held
    return {
        "first": None if first is None else [[*_row(s)] for s in first],
        "before": guard.before,
        "held": None if held is None else [*_row(held)],
        "left_out": guard.left_out,
    }


def guard_loaded(data: Mapping[str, Any]) -> TimeGuard:
    """Take up what `guard_dumped` gave."""
    first, held = data["first"], data["held"]
    return TimeGuard(
        None if first is None else [Sample(*row) for row in first],
        data["before"],
        None if held is None else Sample(*held),
        data["left_out"],
    )


def _row(sample: Sample) -> tuple[float, float, float | None]:
    return sample.time_s, sample.drop_pa, sample.flow
