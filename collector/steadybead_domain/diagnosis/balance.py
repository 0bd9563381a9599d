"""Energy balance of a gun in thermal steady state: power = heat in the air + loss.

P = α · ṁ · (h(T_nozzle) − h(T_inlet)) + λ · (T_nozzle − T_room). λ is the gun's loss with this
nozzle, α takes up constant errors of flow and power meter; both are learnt, then frozen, so that
what drifts later shows in the residual. Learnt by Bayesian linear regression with wide starting
values (Gelman et al., Bayesian Data Analysis, ch. 14), so that a gun that has always run at one
setting is not extrapolated with a chance slope.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.air_properties import (
    air_heat_w,
    mass_flow_g_s,
    specific_heat_kj_kg_k,
)
from steadybead_domain.readings import Float64


@dataclass(frozen=True, slots=True)
class BalanceLimits:
    """Starting values and spreads. Project assumptions, no source.

    `alpha_sd` is for measured power; output alone in % has no scale, hence `scale_sd`. `noise` is
    the spread of one steady state's power as a share of it; `together` states of a shift count
    as one, since they share their errors. Another nozzle starts from what is learnt of the first,
    its loss free by `akin_sd` (W/K), and is learnt after `akin_shifts`.
    """

    alpha_sd: float = 0.1
    scale_sd: float = 0.5
    loss_w_k: float = 0.15
    loss_sd: float = 0.15
    noise: float = 0.015
    together: float = 10.0
    shifts: int = 4
    states: int = 12
    akin_sd: float = 0.05
    akin_shifts: int = 2
    room_c: float = 20.0
    nozzles: int = 12


BALANCE_LIMITS = BalanceLimits()


@dataclass(frozen=True, slots=True)
class BalancePoint:
    """One steady state for the balance. `heat_w`: taken up by the air; `over_c`: nozzle over room.

    `capacity_w_k`: what one degree at the nozzle carries away with the air.
    """

    nozzle: str
    power_w: float
    heat_w: float
    over_c: float
    capacity_w_k: float


def air_terms(
    normal_l_min: Float64, nozzle_c: Float64, inlet_c: Float64, room_c: Float64
) -> tuple[Float64, Float64, Float64]:
    """Give `heat_w`, `over_c` and `capacity_w_k` of points, [n] each; flow in normal litres."""
    room = np.where(np.isnan(room_c), BALANCE_LIMITS.room_c, room_c)
    inlet = np.where(np.isnan(inlet_c), room, inlet_c)
    heat = air_heat_w(normal_l_min, inlet, nozzle_c)
    capacity = mass_flow_g_s(normal_l_min) * specific_heat_kj_kg_k(nozzle_c)
    return heat, nozzle_c - room, capacity


@dataclass(frozen=True, slots=True)
class Residual:
    """What the balance leaves over, in W: measured less expected power; 1 σ of the expectation.

    `per_c`: how far the residual falls for each °C that the nozzle reads too high; `per_pct`: for
    each per cent that the flow reads too high.
    """

    value_w: float
    sigma_w: float
    power_w: float
    per_c: float
    per_pct: float


@dataclass(slots=True)
class Loss:
    """What is learnt of one nozzle: normal equations of (α, λ), and the shifts behind them."""

    precision: Float64
    moment: Float64
    shifts: list[list[float]] = field(default_factory=list)
    states: int = 0
    frozen: bool = False
    needs: int = BALANCE_LIMITS.shifts
    solved: tuple[Float64, Float64] | None = field(default=None, compare=False)

    def solve(self) -> tuple[Float64, Float64]:
        """Give (α, λ) and their covariance, in units of the noise variance; kept once frozen."""
        if self.solved is not None:
            return self.solved
        covariance = _inverse(self.precision)
        found = covariance @ self.moment, covariance
        if self.frozen:
            self.solved = found
        return found


class EnergyBalance:
    """Learns per nozzle over `shifts` shifts, then speaks; memory: a few numbers a nozzle.

    Not detectable here: which term is wrong. A residual is drift of thermocouple, flow meter or
    power meter, or another loss; the caller tells them apart by other evidence.
    """

    def __init__(self, *, has_scale: bool, limits: BalanceLimits = BALANCE_LIMITS) -> None:
        self.has_scale = has_scale
        self.limits = limits
        self.nozzles: dict[str, Loss] = {}

    def _start(self) -> Loss:
        limits = self.limits
        known = next((loss for loss in self.nozzles.values() if loss.frozen), None)
        if known is not None:
            mean, covariance = known.solve()
            precision = _inverse(covariance + np.diag([0.0, limits.akin_sd**2]))
            return Loss(precision, precision @ mean, needs=limits.akin_shifts)
        spread = np.array([limits.alpha_sd if self.has_scale else limits.scale_sd, limits.loss_sd])
        precision = np.asarray(np.diag(1.0 / spread**2), np.float64)
        return Loss(precision, precision @ np.array([1.0, limits.loss_w_k]))

    def learn(self, points: Sequence[BalancePoint]) -> list[Residual]:
        """Take the points of one shift; once enough is learnt, give the residuals of its shifts.

        An answer with several residuals is that of the shifts that were learnt from, in order.
        """
        given: list[Residual] = []
        for nozzle in dict.fromkeys(p.nozzle for p in points):
            own = [p for p in points if p.nozzle == nozzle]
            if nozzle not in self.nozzles and len(self.nozzles) >= self.limits.nozzles:
                continue
            if nozzle not in self.nozzles:
                self.nozzles[nozzle] = self._start()
            loss = self.nozzles[nozzle]
            if not loss.frozen:
                given += self._add(loss, own)
        return given

    def _add(self, loss: Loss, points: Sequence[BalancePoint]) -> list[Residual]:
        for p in points:
            weight = 1.0 / ((self.limits.noise * max(p.power_w, 1.0)) ** 2 * self.limits.together)
            x = np.array([p.heat_w, p.over_c])
            loss.precision = loss.precision + weight * np.outer(x, x)
            loss.moment = loss.moment + weight * x * p.power_w
        loss.states += len(points)
        loss.shifts.append(_mean_row(points))
        if len(loss.shifts) < loss.needs or loss.states < self.limits.states:
            loss.shifts = loss.shifts[-loss.needs :]
            return []
        loss.frozen = True
        rows, loss.shifts = loss.shifts, []
        return [self._residual(loss, row) for row in rows]

    def residual(self, points: Sequence[BalancePoint]) -> Residual | None:
        """Give the mean residual of points whose nozzles are learnt; None if there is none."""
        found = []
        for nozzle in dict.fromkeys(p.nozzle for p in points):
            loss = self.nozzles.get(nozzle)
            if loss is not None and loss.frozen:
                own = [p for p in points if p.nozzle == nozzle]
                found.append((len(own), self._residual(loss, _mean_row(own))))
        if not found:
            return None
        if len(points) == 1:
            return found[0][1]
        total = sum(n for n, _ in found)

        def mean(name: str) -> float:
            return float(sum(n * getattr(r, name) for n, r in found) / total)

        return Residual(*(mean(name) for name in Residual.__slots__))

    def _residual(self, loss: Loss, row: Sequence[float]) -> Residual:
        power, heat, over, capacity = row
        coefficients, covariance = loss.solve()
        x = np.array([heat, over])
        alpha, rate = float(coefficients[0]), float(coefficients[1])
        return Residual(
            power - float(x @ coefficients),
            sqrt(float(x @ covariance @ x)),
            power,
            alpha * capacity + rate,
            alpha * heat / 100.0,
        )

    def forget(self) -> None:
        """Learn anew, after a meter, sensor or element was changed or adjusted."""
        self.nozzles = {}

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            nozzle: {
                "precision": loss.precision.tolist(),
                "moment": loss.moment.tolist(),
                "shifts": loss.shifts,
                "states": loss.states,
                "frozen": loss.frozen,
                "needs": loss.needs,
            }
            for nozzle, loss in self.nozzles.items()
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.nozzles = {
            nozzle: Loss(
                np.array(d["precision"]),
                np.array(d["moment"]),
                d["shifts"],
                d["states"],
                d["frozen"],
                d["needs"],
            )
            for nozzle, d in data.items()
        }


def _inverse(matrix: Float64) -> Float64:
    return np.asarray(np.linalg.inv(matrix), np.float64)


def _mean_row(points: Sequence[BalancePoint]) -> list[float]:
    rows = [[p.power_w, p.heat_w, p.over_c, p.capacity_w_k] for p in points]
    if len(rows) == 1:
        return rows[0]
    return [float(v) for v in np.array(rows).mean(axis=0)]
