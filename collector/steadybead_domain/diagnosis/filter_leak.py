"""A drop that rose because more air goes through the filter than arrives at the guns.

Something before the blower that takes Δp lowers the flow at unmoved valves by half of Δp over the
pressure behind the blower, a per cent or two. If the guns have lost clearly more, air escapes
between blower and guns: the leak draws more through the filter, and the pressure sinks.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import log
from statistics import median
from typing import Any

from steadybead_domain.diagnosis.filter import FELL, ROSE, FilterUpdate

LEAK = (
    "the drop rose and the guns lost air at once: more goes through the filter than arrives,"
    " look for a leak or a hose that is off"
)
KEPT, LATE = 60, 20  # windows: the last half hour of running, and the part of it that is now
PRESSURE_PA = 4000.0  # behind the blower, a low one: a project assumption
LEAST_LOSS = 0.025


class LeakSign:
    """Sees running windows; tells, when the drop has jumped, whether it looks like a leak.

    Delay none of its own. What a jump was taken for stands until the next one; the fall that ends
    a leak is no work on the filter. Not detectable: a leak that raises the drop by less than a
    jump.
    """

    def __init__(self) -> None:
        self.rows: list[tuple[float, float]] = []
        self.taken = ""  # ROSE: the last jump was a leak, FELL: the end of one

    def update(self, drop_pa: float, flow: float) -> None:
        """Take a window."""
        self.rows = [*self.rows[1 - KEPT :], (drop_pa, flow)]

    def named(self, told: FilterUpdate, *, anew: bool) -> FilterUpdate:
        """Give what was told, as a leak if a rise is one; `anew`: the drop has jumped just now."""
        if anew:
            ended = self.taken == ROSE and told.finding == FELL and self._lost() < -LEAST_LOSS
            leaks = told.finding == ROSE and self._is_leak()
            self.taken = ROSE if leaks else FELL if ended else ""
        if not self.taken or told.finding != self.taken:
            return told
        return replace(told, finding=LEAK if self.taken == ROSE else None)

    def _parts(self) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
        return self.rows[: -LATE - 3], self.rows[-LATE:]

    def _lost(self) -> float:
        """Give how far ln(flow) has fallen."""
        before, now = self._parts()
        if len(before) < LATE // 2:
            return 0.0
        return log(median(q for _, q in before) / median(q for _, q in now))

    def _is_leak(self) -> bool:
        before, now = self._parts()
        if len(before) < LATE // 2:
            return False
        rise = median(p for p, _ in now) - median(p for p, _ in before)
        return self._lost() > LEAST_LOSS + max(rise, 0.0) / (2.0 * PRESSURE_PA)

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {"rows": self.rows, "taken": self.taken}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.rows = [(float(p), float(q)) for p, q in data["rows"]]
        self.taken = str(data["taken"])
