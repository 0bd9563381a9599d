"""What everything in one block of one station shares."""

from dataclasses import dataclass

import numpy as np

from steadybead_domain.readings import Float64
from steadybead_simulator.harm import Harm
from steadybead_simulator.weather import HallBlock


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """One block: times `t` float64 [n] in s since the scenario's start, `dt_s` apart.

    `bounds`: [start, end) of the block, a little wider than the samples.
    """

    t: Float64
    dt_s: float
    bounds: tuple[float, float]
    hall: HallBlock
    harm: Harm
    rng: np.random.Generator

    @property
    def n(self) -> int:
        """Count the samples."""
        return len(self.t)

    def holds(self, at_s: float) -> bool:
        """Tell whether a moment lies in the block."""
        return self.bounds[0] <= at_s < self.bounds[1]
