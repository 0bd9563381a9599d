"""Checks that cost nothing: what the sensors show when all is cold, and when the air is off.

With gun, terminal and room in equilibrium the emf is near 0, so the nozzle must read what the
terminal reads: this shows an offset of the measuring chain and the cold junction's error, and says
nothing of the gain. With the air off, flow, filter drop and outlet pressure must read 0.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.drift import ColdPoint
from steadybead_domain.diagnosis.windows import WINDOW, Windows
from steadybead_domain.times import HOUR, MINUTE


@dataclass(frozen=True, slots=True)
class AmbientLimits:
    """When all counts as cold and still. Project assumptions, no source."""

    cold_for: int = 4 * HOUR
    cold_c: float = 60.0
    still_c: float = 0.15
    windows: int = 2 * MINUTE // WINDOW
    motor_a: float = 0.3
    outlet_pa: float = 300.0
    flow_l_min: float = 6.0
    flow_still: float = 0.4
    apart: int = 1 * HOUR


AMBIENT_LIMITS = AmbientLimits()


class AmbientCheck:
    """Sees one gun's windows; gives `cold_emf` once after each long off, `cold_flow` hourly.

    The air counts as off where the motor draws nothing, else where the outlet pressure is near 0,
    else where a gun that is off has a small and steady flow reading: then only a zero error below
    `flow_l_min` can be seen, a larger one is not detectable.
    """

    def __init__(self, limits: AmbientLimits = AMBIENT_LIMITS) -> None:
        self.limits = limits
        self.warm: int | None = None
        self.cold: list[float] = []
        self.checked = False
        self.calm: list[float] = []
        self.zeroed: int | None = None

    def update(self, windows: Windows) -> Iterator[ColdPoint]:
        """Give the points that these windows allow."""
        mean = {name: windows.mean(name) for name in windows.columns}
        off = mean["off"] == 1.0
        emf = mean["nozzle"] - mean.get("terminal", np.full(len(off), np.nan))
        with np.errstate(invalid="ignore"):
            warm = mean["nozzle"] >= self.limits.cold_c
            still = off & (np.abs(windows.move("nozzle")) < self.limits.still_c)
        flow = mean.get("flow", np.full(len(off), np.nan))
        zero = off & self.air_off(windows, mean) & np.isfinite(flow)
        for i in range(len(windows)):
            start = int(windows.start[i])
            if warm[i]:
                self.warm, self.cold, self.checked = start, [], False
            elif not self.checked and np.isfinite(emf[i]) and np.isfinite(mean["nozzle"][i]):
                yield from self._cold(start, float(emf[i]), still=bool(still[i]))
            if zero[i]:
                yield from self._zero(start, float(flow[i]))
            else:
                self.calm = []

    def air_off(self, windows: Windows, mean: Mapping[str, Any]) -> Any:
        """Tell in which windows no air goes, as far as the channels can tell."""
        limits = self.limits
        with np.errstate(invalid="ignore"):
            if "motor" in mean:
                return mean["motor"] < limits.motor_a
            if "outlet" in mean:
                return np.abs(mean["outlet"]) < limits.outlet_pa
            if "flow" not in mean:
                return np.zeros(len(windows), np.bool_)
            small = np.abs(mean["flow"]) < limits.flow_l_min
            return small & (windows.spread("flow") < limits.flow_still)

    def _cold(self, start: int, emf_c: float, *, still: bool) -> Iterator[ColdPoint]:
        if not still or self.warm is None or start - self.warm < self.limits.cold_for:
            self.cold = []
            return
        self.cold.append(emf_c)
        if len(self.cold) == self.limits.windows:
            value = float(np.mean(self.cold))
            self.cold, self.checked = [], True
            yield ColdPoint(start + WINDOW, "cold_emf", value)

    def _zero(self, start: int, flow: float) -> Iterator[ColdPoint]:
        if self.zeroed is not None and start - self.zeroed < self.limits.apart:
            return
        self.calm.append(flow)
        if len(self.calm) == self.limits.windows:
            value = float(np.mean(self.calm[1:]))
            self.calm, self.zeroed = [], start
            yield ColdPoint(start + WINDOW, "cold_flow", value)

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "warm": self.warm,
            "cold": self.cold,
            "checked": self.checked,
            "calm": self.calm,
            "zeroed": self.zeroed,
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.warm, self.zeroed = data["warm"], data["zeroed"]
        self.cold = [float(v) for v in data["cold"]]
        self.calm = [float(v) for v in data["calm"]]
        self.checked = bool(data["checked"])
