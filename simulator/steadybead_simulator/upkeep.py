"""Filters that people change while the shop runs, told from outside."""

import threading
from dataclasses import replace
from operator import attrgetter

from steadybead_domain.times import SECOND
from steadybead_simulator.faults import KINDS, Fault
from steadybead_simulator.scenario import Scenario

KIND = KINDS["filter_tapped_out"]
LASTS_S = 1.0


class Upkeep:
    """What was done to filters and is not in the scenario yet; thread-safe."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._told: list[tuple[str, int, float]] = []
        self._count = 0

    @property
    def waits(self) -> bool:
        """Tell whether something was told that no scenario has yet."""
        return bool(self._told)

    def filter_cleaned(self, station: str, at_us: int, percent: float = 100.0) -> None:
        """Tell that so much of the dust left a filter; 100 % is a new one."""
        with self._lock:
            self._told.append((station, at_us, percent))

    def brought_into(self, scenario: Scenario, start_us: int) -> Scenario:
        """Give the scenario with what was told since; before it all stays as it was."""
        with self._lock:
            told, self._told = self._told, []
        faults = list(scenario.faults)
        for station, at_us, percent in told:
            at_s = max((at_us - start_us) / SECOND, 0.0)
            name = f"filter-work-{self._count}"
            faults.append(Fault(name, KIND, station, None, None, at_s, at_s + LASTS_S, percent))
            self._count += 1
        return replace(scenario, faults=tuple(sorted(faults, key=attrgetter("start_s", "id"))))
