"""The figures of a gun for one shift, from its steady states."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from math import isfinite, isnan, log
from statistics import median
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.balance import BalancePoint, air_terms
from steadybead_domain.diagnosis.gun_columns import NormalFlow
from steadybead_domain.diagnosis.steady import SteadyState
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import HOUR

SHIFT_GAP = 4 * HOUR
LONGEST = 14 * HOUR
FEWEST = 4


@dataclass(frozen=True, slots=True)
class StateFigures:
    """The figures of one steady state, [start, end) in µs; a missing one is left out.

    `others`: how many other guns had air.
    """

    start: int
    end: int
    figures: Mapping[str, float]
    balance: BalancePoint | None
    flow_l_min: float
    others: int = 0


class StateReader:
    """Turns a steady state into figures, with what the station has.

    Power is the heater's own channel, else voltage times current, else the output in % (with the
    square of the voltage if it is known), brought to the size of watts by the first state.
    """

    def __init__(self, station: Station, gun: str) -> None:
        self.flow = NormalFlow(station, gun)
        channel = station.channel_of(Quantity.NOZZLE_TEMPERATURE, gun)
        self.regulated = None if channel is None else channel.regulated
        self.scale: float | None = None

    def read(self, states: Sequence[SteadyState]) -> list[StateFigures]:
        """Give the figures of states in order of time; all have the same columns."""
        if not states:
            return []
        names = states[0].means
        means = {name: np.array([state.means[name] for state in states]) for name in names}
        flows = self.flow.of(means)
        blank = np.full(len(states), np.nan)
        nozzle, inlet, room = (means.get(n, blank) for n in ("nozzle", "inlet", "intake"))
        terms = np.stack(air_terms(flows, nozzle, inlet, room), axis=1).tolist()
        given = zip(states, flows.tolist(), terms, strict=True)
        return [self._read(state, flow, air) for state, flow, air in given]

    def _read(self, state: SteadyState, flow: float, air: Sequence[float]) -> StateFigures:
        figures: dict[str, float] = {}
        nozzle = state.get("nozzle")
        _put(figures, "set_gap", nozzle - state.get("set") if self.regulated is False else None)
        _put(figures, "controller_gap", nozzle - state.get("controller"))
        _put(figures, "flow", _percent(flow))
        _put(figures, "supply", _percent(state.get("supply")))
        _put(figures, "resistance", _percent(_resistance(state)))
        return StateFigures(
            state.start,
            state.end,
            figures,
            self._balance(state, *air),
            state.get("flow"),
            0 if isnan(state.get("others")) else round(state.get("others")),
        )

    def _balance(
        self, state: SteadyState, heat_w: float, over_c: float, capacity_w_k: float
    ) -> BalancePoint | None:
        power = self._power(state, heat_w)
        if not (isfinite(power) and isfinite(heat_w) and power > 1.0):
            return None
        return BalancePoint(state.nozzle, power, heat_w, over_c, capacity_w_k)

    def _power(self, state: SteadyState, heat_w: float) -> float:
        watts = state.get("power")
        if isnan(watts):
            watts = state.get("current") * state.get("supply")
        if isfinite(watts):
            return watts
        share = state.get("output") / 100.0
        supply = state.get("supply")
        if isfinite(supply):
            share *= (supply / 230.0) ** 2
        if not (isfinite(share) and share > 0.02 and isfinite(heat_w)):
            return float("nan")
        if self.scale is None:
            self.scale = 1.1 * heat_w / share
        return share * self.scale


def _resistance(state: SteadyState) -> float:
    """Give the hot resistance in Ω from voltage, output and power (or mean current)."""
    volts, share = state.get("supply"), state.get("output") / 100.0
    power = state.get("power")
    if isnan(power):
        power = volts * state.get("current")
    if not (power > 20.0 and share > 0.1):
        return float("nan")
    return volts * volts * share / power


def _percent(value: float) -> float | None:
    return 100.0 * log(value) if value > 0 else None


def _put(figures: dict[str, float], name: str, value: float | None) -> None:
    if value is not None and isfinite(value):
        figures[name] = value


@dataclass(slots=True)
class Shift:
    """Steady states of one shift: no pause of `SHIFT_GAP` between them."""

    states: list[StateFigures] = field(default_factory=list)

    @property
    def end(self) -> int | None:
        """Give the end of the last state."""
        return self.states[-1].end if self.states else None

    def closes_at(self) -> int | None:
        """Give the time from which no state can join it."""
        return None if self.end is None else self.end + SHIFT_GAP

    def admits(self, state: StateFigures) -> bool:
        """Tell whether a state belongs to it."""
        if not self.states:
            return True
        begun = self.states[0].start
        return state.start < self.states[-1].end + SHIFT_GAP and state.end - begun < LONGEST

    def figures(self) -> dict[str, float]:
        """Give the median of each figure that at least `FEWEST` states have."""
        names = dict.fromkeys(name for s in self.states for name in s.figures)
        found = {n: [s.figures[n] for s in self.states if n in s.figures] for n in names}
        return {n: median(values) for n, values in found.items() if len(values) >= FEWEST}

    def flows(self) -> list[tuple[int, float]]:
        """Give the flow figure of each state with the number of other guns that had air."""
        return [(s.others, s.figures["flow"]) for s in self.states if "flow" in s.figures]

    def points(self) -> list[BalancePoint]:
        """Give the points for the balance, none if they are fewer than `FEWEST`."""
        points = [s.balance for s in self.states if s.balance is not None]
        return points if len(points) >= FEWEST else []

    def dump(self) -> list[Any]:
        """Give the memory as JSON."""
        return [
            [
                s.start,
                s.end,
                dict(s.figures),
                s.balance and asdict(s.balance),
                s.flow_l_min,
                s.others,
            ]
            for s in self.states
        ]

    def load(self, data: Any) -> None:
        """Take up what `dump` gave."""
        self.states = [
            StateFigures(start, end, figures, balance and BalancePoint(**balance), *rest)
            for start, end, figures, balance, *rest in data
        ]
