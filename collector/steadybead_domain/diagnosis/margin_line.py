"""What pressure before the valves is to be expected, learnt for each set of open guns.

ln(p/ρ) = a − e · ln(flow) + k · ln(voltage): a falling blower curve, and speed that follows the
supply. Bayesian linear regression with wide starting values (Gelman et al., Bayesian Data
Analysis, ch. 14) on medians of whole shifts: within a shift the flow follows the pressure at an
unmoved valve, which is the wrong way round. It learns only while `learn` is called.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from steadybead_domain.readings import Float64

START = np.array([9.1, -0.2, 1.0])  # ln of some 9 kPa; project assumptions, no source
SPREAD = np.array([3.0, 0.15, 0.7])
NOISE = 0.004  # of one shift
ENOUGH = 4  # shifts


class MarginLine:
    """Memory: a 3 × 3 matrix for each set of open guns."""

    def __init__(self) -> None:
        self.sums: dict[str, tuple[Float64, Float64, int]] = {}

    def learn(self, guns: str, pressure: float, flow: float, volts: float) -> None:
        """Take a shift: open guns, ln(pressure / density), ln(flow), ln(voltage / nominal)."""
        precision, moment, n = self.sums.get(guns) or _start()
        x = np.array([1.0, flow, volts])
        self.sums[guns] = (
            precision + np.outer(x, x) / NOISE**2,
            moment + x * pressure / NOISE**2,
            n + 1,
        )

    def left(self, guns: str, pressure: float, flow: float, volts: float) -> float | None:
        """Give what is left over of ln(pressure / density); None for guns that are not learnt."""
        known = self.sums.get(guns)
        if known is None or known[2] < ENOUGH:
            return None
        line = np.linalg.solve(known[0], known[1])
        return pressure - float(line @ np.array([1.0, flow, volts]))

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {g: [p.tolist(), m.tolist(), n] for g, (p, m, n) in self.sums.items()}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.sums = {g: (np.array(p), np.array(m), int(n)) for g, (p, m, n) in data.items()}


def _start() -> tuple[Float64, Float64, int]:
    precision = np.asarray(np.diag(1.0 / SPREAD**2), np.float64)
    return precision, precision @ START, 0
