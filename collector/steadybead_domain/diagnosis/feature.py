"""One figure of a gun followed from shift to shift: its level is learnt, then kept, and charted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

from steadybead_domain.diagnosis.charts.cusum import Cusum

ALLOWANCE = 1.0  # k in σ: fastest for shifts of 2 σ
DECISION = 5.134  # h in σ: limit_for(1.0), that is 70,000 points to a false signal
SEEN_IN_FIVE = 3.2  # σ; such a shift signals within 5 points in 9 of 10 cases, by simulation
FIRST = 4
PRIOR_POINTS = 4.0
_KEPT = 10
_RECENT = 3
CALM = 3  # points


@dataclass(frozen=True, slots=True)
class FeatureFacts:
    """What is assumed of a figure before anything is learnt.

    `prior_sd`: the spread of a single point, weighing as much as `PRIOR_POINTS` points.
    `start_sd`: how far the level may lie from 0 at first; None if nothing can be said of it.
    `most`: points to learn from; many for a figure that has its ups and downs from shift to shift,
    few for one that must show a small shift early. A point that lies beyond `cautious` σ, or that
    comes while the chart stands above as much, is not learnt from.
    """

    unit: str
    prior_sd: float
    start_sd: float | None = None
    most: int = 15
    cautious: float = 2.5


@dataclass(frozen=True, slots=True)
class Level:
    """Mean of n points and the spread of one, pooled with what was assumed."""

    n: int
    mean: float
    sigma: float


class Feature:
    """A self-starting tabular CUSUM with k = 1 σ.

    From `FIRST` points on it charts (x − mean) / (σ √(1 + 1/n)) against what came before (Hawkins,
    The Statistician 36 (1987) 299, with a pooled σ in place of Student's t), and goes on learning
    until `most` points; then level and spread are frozen. h is chosen for 70,000 points to a false
    signal with a known level. Mean delay at 2 σ 6 points, at 2.5 σ 4, at 3 σ 3, at 4 σ 2. Before
    it charts, a figure with a known starting level signals a point beyond 4 σ of it.
    """

    def __init__(self, facts: FeatureFacts) -> None:
        self.facts = facts
        self.learnt: list[tuple[int, float]] = []
        self.points: list[tuple[int, float]] = []
        self.chart = Cusum(0.0, ALLOWANCE, DECISION)
        self.side = 0
        self.stood = 0

    @property
    def ready(self) -> bool:
        """Tell whether enough is learnt to chart."""
        return len(self.learnt) >= FIRST

    @property
    def level(self) -> Level:
        """Give the level as it is learnt now."""
        return self._level(self.learnt)

    def _level(self, rows: Sequence[tuple[int, float]]) -> Level:
        n = len(rows)
        mean = sum(v for _, v in rows) / n if n else 0.0
        squares = sum((v - mean) ** 2 for _, v in rows)
        freedom = PRIOR_POINTS + max(n - 1, 0)
        return Level(n, mean, sqrt((PRIOR_POINTS * self.facts.prior_sd**2 + squares) / freedom))

    def add(self, time: int, value: float, *, learn: bool = True) -> None:
        """Take a point; `side` says afterwards whether it signals.

        With `learn` False a feature that is not ready only looks whether the point is wild.
        """
        self.points = [*self.points[1 - _KEPT :], (time, value)]
        if not self.ready:
            self.side = self._wild(value)
            if learn and not self.side:
                self.learnt.append((time, value))
            return
        level = self.level
        z = (value - level.mean) / (level.sigma * sqrt(1.0 + 1.0 / level.n))
        self.side = self.chart.update(z)
        self.stood = self.stood + 1 if self.side else 0
        if self.stood > CALM and self.calm():
            self.chart.reset()
            self.side = self.stood = 0
        far = max(abs(z), self.chart.high, self.chart.low)
        if learn and level.n < self.facts.most and not self.side and far < self.facts.cautious:
            self.learnt.append((time, value))

    def _wild(self, value: float) -> int:
        start_sd = self.facts.start_sd
        if start_sd is None or abs(value) <= 4.0 * sqrt(start_sd**2 + self.facts.prior_sd**2):
            return 0
        return 1 if value > 0 else -1

    def onset(self) -> int | None:
        """Give the time of the first point of the run that signals, None if none does."""
        if not self.side or not self.points:
            return None
        count = self.chart.points_since_zero(self.side) if self.ready else 1
        return self.points[-min(max(count, 1), len(self.points))][0]

    def shift(self, since: int) -> tuple[float, float] | None:
        """Give how far the last points since a time lie off the level before, and 1 σ of that."""
        recent = [v for t, v in self.points if t >= since][-_RECENT:]
        before = self._level([row for row in self.learnt if row[0] < since])
        mean = sum(recent) / len(recent) if recent else 0.0
        if not recent or (before.n < FIRST - 1 and self.facts.start_sd is None):
            return None
        if before.n < FIRST - 1:
            spread = self.facts.prior_sd**2 / len(recent) + (self.facts.start_sd or 0.0) ** 2
            return mean, sqrt(spread)
        return mean - before.mean, before.sigma * sqrt(1.0 / len(recent) + 1.0 / before.n)

    def calm(self) -> bool:
        """Tell whether the last three points lie within 1.5 σ of the level, their mean in 0.75 σ.

        In control that is one chance in two at each point, while a shift of 2 σ stands 1 in 100.
        """
        last = self._lately()
        near = len(last) == CALM and all(abs(z) < 1.5 for z in last)
        return near and abs(sum(last)) < 0.75 * CALM

    def settled(self) -> bool:
        """Tell whether it signals nothing and the mean of the last three lies within 1.5 σ."""
        last = self._lately()
        return not self.side and abs(sum(last)) < 1.5 * max(len(last), 1)

    def _lately(self) -> list[float]:
        level = self.level
        return [(v - level.mean) / level.sigma for _, v in self.points[-CALM:]]

    def smallest(self) -> float:
        """Give the smallest lasting shift that is found within 5 points in 9 of 10 cases."""
        level = self.level
        return SEEN_IN_FIVE * level.sigma * sqrt(1.0 + 1.0 / max(level.n, 1))

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "learnt": self.learnt,
            "points": self.points,
            "side": self.side,
            "stood": self.stood,
            "chart": self.chart.dump(),
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.learnt = [(int(t), float(v)) for t, v in data["learnt"]]
        self.points = [(int(t), float(v)) for t, v in data["points"]]
        self.side, self.stood = int(data["side"]), int(data["stood"])
        self.chart.load(data["chart"])
