"""Thermal steady states of a gun, each summed up in one set of means."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.windows import WINDOW, Windows
from steadybead_domain.times import MINUTE


@dataclass(frozen=True, slots=True)
class SteadyLimits:
    """When a hot gun counts as steady. Project assumptions, no source."""

    soak: int = 15 * MINUTE // WINDOW
    settle: int = 2 * MINUTE // WINDOW
    longest: int = 5 * MINUTE // WINDOW
    shortest: int = 2 * MINUTE // WINDOW
    move_c: float = 1.5
    wander_c: float = 3.0
    flow_spread: float = 0.06
    flow_wander: float = 0.04
    least_flow: float = 5.0


STEADY_LIMITS = SteadyLimits()


@dataclass(frozen=True, slots=True)
class SteadyState:
    """A stretch of `windows` windows, [start, end) in µs, with the mean of each column by name.

    `nozzle` is what was last told to be on the gun, empty if nothing was. A column of which any
    step was unknown is NaN.
    """

    start: int
    end: int
    windows: int
    nozzle: str
    means: Mapping[str, float]

    def get(self, name: str) -> float:
        """Give a mean, NaN where there is none."""
        return self.means.get(name, float("nan"))


@dataclass(slots=True)
class SteadySpans:
    """Cuts the windows of a gun into steady states.

    A state begins once the gun has been hot for `soak` and nozzle temperature, and flow if it is
    logged, have held for `settle`; it ends when they leave the band around where it began, at any
    step without data, when another nozzle is told, or after `longest`, followed by the next.
    """

    limits: SteadyLimits = STEADY_LIMITS
    nozzle: str = ""
    told: list[tuple[int, str]] = field(default_factory=list)
    hot: int = 0
    held: int = 0
    anchor: tuple[float, float] = (0.0, 0.0)
    rows: list[tuple[int, list[float]]] = field(default_factory=list)

    def note(self, time: int, nozzle: str) -> None:
        """Take that from `time` another nozzle is on the gun."""
        self.told = sorted([*self.told, (time, nozzle)])

    def update(self, windows: Windows) -> Iterator[SteadyState]:
        """Give the states that end in these windows."""
        names = list(windows.columns)
        means = {name: windows.mean(name) for name in names}
        flows = means.get("flow", np.full(len(windows), np.inf)).tolist()
        hot, nozzle = means["hot"].tolist(), means["nozzle"].tolist()
        starts, calm = windows.start.tolist(), self._calm(windows).tolist()
        rows = np.stack([means[name] for name in names], axis=1).tolist()
        soak, settle, longest = self.limits.soak, self.limits.settle, self.limits.longest
        for i, start in enumerate(starts):
            if self.told:
                yield from self._retold(start, names)
            self.hot = self.hot + 1 if hot[i] == 1.0 else 0
            if not calm[i] or self.hot <= soak:
                if self.held:
                    yield from self._end(names)
                continue
            if self.held and self._left(nozzle[i], flows[i]):
                yield from self._end(names)
            if not self.held:
                self.anchor = (nozzle[i], flows[i])
            self.held += 1
            if self.held > settle:
                self.rows.append((start, rows[i]))
                if len(self.rows) == longest:
                    yield self._summary(names)

    def _calm(self, windows: Windows) -> Any:
        limits = self.limits
        with np.errstate(invalid="ignore"):
            calm = np.abs(windows.move("nozzle")) < limits.move_c
            if "flow" not in windows.columns:
                return calm
            flow = windows.mean("flow")
            calm &= windows.spread("flow") < limits.flow_spread * flow
            return calm & (flow > limits.least_flow)

    def _left(self, nozzle_c: float, flow: float) -> bool:
        t, q = self.anchor
        off = abs(nozzle_c - t) > self.limits.wander_c
        return off or (isfinite(q) and abs(flow - q) > self.limits.flow_wander * q)

    def _retold(self, start: int, names: list[str]) -> Iterator[SteadyState]:
        while self.told and self.told[0][0] < start + WINDOW:
            _, nozzle = self.told.pop(0)
            yield from self._end(names)
            self.nozzle = nozzle

    def _end(self, names: list[str]) -> Iterator[SteadyState]:
        self.held = 0
        if len(self.rows) >= self.limits.shortest:
            yield self._summary(names)
        self.rows = []

    def _summary(self, names: list[str]) -> SteadyState:
        first, last = self.rows[0][0], self.rows[-1][0]
        n, columns = len(self.rows), zip(*(row for _, row in self.rows), strict=True)
        means = {name: sum(column) / n for name, column in zip(names, columns, strict=True)}
        made = SteadyState(first, last + WINDOW, n, self.nozzle, means)
        self.rows = []
        return made

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "nozzle": self.nozzle,
            "told": self.told,
            "hot": self.hot,
            "held": self.held,
            "anchor": self.anchor,
            "rows": [[t, [None if np.isnan(v) else v for v in row]] for t, row in self.rows],
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.nozzle = data["nozzle"]
        self.told = [(int(t), str(n)) for t, n in data["told"]]
        self.hot, self.held = int(data["hot"]), int(data["held"])
        self.anchor = (float(data["anchor"][0]), float(data["anchor"][1]))
        self.rows = [
            (int(t), [float("nan") if v is None else float(v) for v in row])
            for t, row in data["rows"]
        ]
