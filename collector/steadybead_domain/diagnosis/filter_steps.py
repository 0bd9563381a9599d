"""Small sudden falls of a filter's drop: points at like flow, each beside those just before.

A filter does not empty itself: whatever lowers its drop within half an hour at the same flow was
done to it or to its tube. The tracker's own jump needs 30 %, because a log of unknown kind may
swing as much; here points are medians of ten minutes at one flow, so a few per cent show.
"""

from collections.abc import Mapping
from math import exp, log
from statistics import median
from typing import Any

GROUP = 20  # windows: 10 min of running
NEAR = 0.1  # of ln Q: a group is one flow
CLASS = 0.15  # of ln Q: points are compared within a class of flows
MOST_CLASSES = 12
BEHIND = 3  # points behind the level
LEAST_SHARE = 0.08
LEAST_PA = 4.0
SIGMAS = 5.0
LEAST_SIGMA, START_SIGMA = 0.012, 0.02
CONFIRMED = 2  # points


class FilterSteps:
    """Sees running windows of drop and flow; tells a fall that two points in a row show.

    Delay 20 min of running. A fall counts from 8 % or 5 σ of what points differ by from one to
    the next, and 4 Pa. Not detectable: a fall at a flow that was not seen before, and one that
    dust makes up for within the shift. Memory: four points for each of 12 flows.
    """

    def __init__(self) -> None:
        self.group: list[tuple[float, float]] = []
        self.levels: dict[str, list[float]] = {}
        self.fallen: list[tuple[str, float]] = []
        self.sigma = START_SIGMA

    def update(self, drop_pa: float, flow: float, exponent: float) -> float | None:
        """Take a window; give the share of the drop that is lost, if that is a fall.

        The drop as it is read: a sensor's zero that becomes known would look like a fall.
        """
        if self.group and abs(log(flow / self.group[0][1])) > NEAR:
            self.group = []
        self.group.append((max(drop_pa, 0.5), flow))
        if len(self.group) < GROUP:
            return None
        rows, self.group = self.group, []
        at = log(median(q for _, q in rows))
        place = round(at / CLASS)
        drop = median(p for p, _ in rows)
        return self._judge(str(place), log(drop) + exponent * (CLASS * place - at), drop)

    def _judge(self, place: str, point: float, drop_pa: float) -> float | None:
        before = self.levels.get(place, [])
        if len(before) < BEHIND:
            self._learn(place, point)
            return None
        gone = median(before[-BEHIND:]) - point
        if gone > self.smallest and drop_pa * (exp(gone) - 1.0) > LEAST_PA:
            self.fallen.append((place, gone))
            if len(self.fallen) < CONFIRMED:
                return None
            lost = min(g for _, g in self.fallen)
            self.begin_anew()
            return 1.0 - exp(-lost)
        self.fallen = []
        size = min(abs(point - before[-1]), 3.0 * self.sigma) / 1.128
        self.sigma += 0.05 * (size - self.sigma)
        self._learn(place, point)
        return None

    def _learn(self, place: str, point: float) -> None:
        own = [*self.levels.pop(place, [])[1 - BEHIND :], point]
        self.levels[place] = own
        if len(self.levels) > MOST_CLASSES:
            del self.levels[next(iter(self.levels))]

    @property
    def smallest(self) -> float:
        """Give the smallest fall of ln(drop) that counts."""
        return max(-log(1.0 - LEAST_SHARE), SIGMAS * max(self.sigma, LEAST_SIGMA))

    def begin_anew(self) -> None:
        """Forget the levels: the filter is another one."""
        self.group, self.levels, self.fallen = [], {}, []

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "group": self.group,
            "levels": list(self.levels.items()),
            "fallen": self.fallen,
            "sigma": self.sigma,
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.group = [(float(p), float(q)) for p, q in data["group"]]
        self.levels = {place: list(points) for place, points in data["levels"]}
        self.fallen = [(place, float(gone)) for place, gone in data["fallen"]]
        self.sigma = float(data["sigma"])
