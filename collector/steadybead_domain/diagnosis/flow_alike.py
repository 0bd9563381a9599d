"""A gun's flow at like number of other guns open: they share the pressure, so each takes some.

At unmoved valves a second gun takes some per cent of the first one's flow. So shifts are compared
at the number of other guns that was usual when the flow was learnt; what another number changes
is learnt within shifts that had both.
"""

from collections.abc import Sequence
from statistics import median
from typing import Any

FEWEST = 4  # states
PAIRS = 2  # shifts with both before one is brought to the other
LOST = 5  # shifts that could not be compared: what is usual has changed
KEPT = 10
OPEN_L_MIN = 15.0  # another gun has air; a project assumption


class FlowAlike:
    """Sees the steady states of a shift as (other guns open, figure); gives the shift's figure.

    None where the shift cannot be compared yet; `lost` after five such in a row, then all is to
    be learnt anew. Memory: ten differences for each number of guns.
    """

    def __init__(self) -> None:
        self.usual: int | None = None
        self.apart: dict[int, list[float]] = {}
        self.without = 0

    @property
    def lost(self) -> bool:
        """Tell whether the usual number of guns has not been seen for too long."""
        return self.without >= LOST

    def figure(self, rows: Sequence[tuple[int, float]]) -> float | None:
        """Give the median flow figure of a shift at the usual number of other guns."""
        by_number: dict[int, list[float]] = {}
        for others, value in rows:
            by_number.setdefault(others, []).append(value)
        medians = {k: median(v) for k, v in by_number.items() if len(v) >= FEWEST}
        if not medians:
            return None
        if self.usual is None:
            self.usual = max(medians, key=lambda k: (len(by_number[k]), -k))
        if self.usual in medians:
            level = medians[self.usual]
            for number, value in medians.items():
                if number != self.usual:
                    rows_of = self.apart.get(number, [])
                    self.apart[number] = [*rows_of[1 - KEPT :], value - level]
            self.without = 0
            return level
        number = max(medians, key=lambda k: (len(by_number[k]), -k))
        known = self.apart.get(number, [])
        if len(known) < PAIRS:
            self.without += 1
            return None
        self.without = 0
        return medians[number] - median(known)

    def dump(self) -> list[Any]:
        """Give the memory as JSON."""
        return [self.usual, list(self.apart.items()), self.without]

    def load(self, data: Any) -> None:
        """Take up what `dump` gave."""
        self.usual = data[0]
        self.apart = {int(k): [float(x) for x in v] for k, v in data[1]}
        self.without = int(data[2])
