"""A filter's life: what was forecast against when the drop really reached its limit."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bench.score_walk import Told, Walked, raised
from steadybead_domain.readings import Float64, Int64

SHARES = (0.3, 0.5, 0.7, 0.85)  # of the life, at which one interval is taken
AHEAD_H = 24.0  # of running: three shifts of eight hours
NEAR_H = 8.0  # a forecast counts for a share if it comes so soon after it
WINDOW_H = 24.0  # of running, that the simple lines are laid through
FIXED_SHARE = 0.8

Forecast = tuple[float, float, float, float]  # told at (running h), low, middle, high (h left)


@dataclass(frozen=True, slots=True)
class Life:
    """One run to the limit in hours with air: `drop_pa` float64 [n] at `run_h` float64 [n]."""

    level: str
    seed: int
    time: Int64
    run_h: Float64
    drop_pa: Float64
    limit_pa: float
    life_h: float

    def at(self, time: int) -> float:
        """Give the running hours at a time."""
        return float(np.interp(time, self.time, self.run_h))


@dataclass(frozen=True, slots=True)
class Taken:
    """One interval taken at a share of the life, in hours left; `method` made it."""

    method: str
    level: str
    seed: int
    share: float
    true_h: float
    low_h: float
    middle_h: float
    high_h: float


@dataclass(frozen=True, slots=True)
class Run:
    """How one method did on one run; None where it said nothing.

    `alert_h`: hours before the limit of the first alert, below 0 after it; `reached_h` the same
    of the first word that the limit is reached. `foreseen`: three shifts ahead a forecast stood
    whose hours were right within a factor of two.
    """

    method: str
    level: str
    seed: int
    life_h: float
    alert_h: float | None
    foreseen: bool
    reached_h: float | None = None


def life_of(walked: Walked) -> Life | None:
    """Work out when the true drop reached the limit; None if it did not.

    Truth is the filter's own drop at 100 L/min, brought to the gun's usual flow by what the
    sensor read over the whole run: the limit as this sensor can show it.
    """
    limit = walked.span.station.air.intake_filter_limit_pa
    rows = [b for b in walked.blocks if b.air_share > 0]
    true = [(r.start, r.size or 0.0) for r in walked.truth if r.kind == "filter_drop"]
    if limit is None or len(rows) < 10 or len(true) < 3:
        return None
    time = np.array([b.time for b in rows], np.int64)
    run_h = np.cumsum([b.air_share / 12.0 for b in rows])
    whole = np.interp(time, [t for t, _ in true], [d for _, d in true])
    measured = np.array([b.drop_pa for b in rows])
    ratio = float(np.nanmedian(measured / whole))
    above = np.flatnonzero(whole * ratio >= limit)
    if not len(above):
        return None
    flow = np.array([b.flow_l_min for b in rows])
    drop = measured * float(np.nanmedian(flow)) / flow
    span = walked.span
    return Life(span.level, span.seed, time, run_h, drop, limit, float(run_h[above[0]]))


def told_forecasts(walked: Walked, life: Life) -> list[Forecast]:
    """Give what the diagnosis forecast; that the limit is reached is no forecast."""
    return [
        (life.at(t.time), *t.remaining_h)
        for t in raised(walked)
        if t.remaining_h is not None and t.remaining_h[2] > t.remaining_h[0]
    ]


def told_alert(told: Sequence[Told], life: Life, *kinds: str) -> float | None:
    """Give the running hours of the first alarm of these kinds."""
    alerts = [t.time for t in told if t.kind in kinds and t.is_alarm]
    return life.at(min(alerts)) if alerts else None


def taken(method: str, life: Life, forecasts: Sequence[Forecast]) -> list[Taken]:
    """Take one interval at each share of the life."""
    found = []
    for share in SHARES:
        due = share * life.life_h
        later = [f for f in forecasts if due <= f[0] <= min(due + NEAR_H, life.life_h)]
        if later:
            at, *hours = later[0]
            left = life.life_h - at
            found.append(Taken(method, life.level, life.seed, share, left, *hours))
    return found


def run_of(method: str, life: Life, forecasts: Sequence[Forecast], alert_at_h: float | None) -> Run:
    """Judge a method on a run."""
    ahead = [f for f in forecasts if f[0] <= life.life_h - AHEAD_H]
    left = ahead[-1][2] - (life.life_h - AHEAD_H - ahead[-1][0]) if ahead else float("nan")
    alert = None if alert_at_h is None else life.life_h - alert_at_h
    foreseen = 0.5 * AHEAD_H <= left <= 2.0 * AHEAD_H
    return Run(method, life.level, life.seed, life.life_h, alert, foreseen)


def score_life(walked: Walked) -> tuple[list[Run], list[Taken]]:
    """Judge the diagnosis and the simple methods on one run."""
    life = life_of(walked)
    if life is None:
        return [], []
    forecasts = told_forecasts(walked, life)
    said = list(raised(walked))
    alert = told_alert(said, life, "filter_due", "filter_limit")
    reached = told_alert(said, life, "filter_limit")
    reached_h = None if reached is None else life.life_h - reached
    runs = [replace(run_of("Steadybead", life, forecasts, alert), reached_h=reached_h)]
    rows = taken("Steadybead", life, forecasts)
    for method, forecast in _LINES.items():
        simple = _simple(life, forecast)
        due = next((f[0] for f in simple if f[2] < AHEAD_H), None)
        runs.append(run_of(method, life, simple, due))
        rows += taken(method, life, simple)
    over = np.flatnonzero(life.drop_pa >= FIXED_SHARE * life.limit_pa)
    fixed = float(life.run_h[over[0]]) if len(over) else None
    return [*runs, run_of("fixed threshold", life, [], fixed)], rows


def _simple(life: Life, forecast: Callable[[Float64, Float64, float], float]) -> list[Forecast]:
    """Forecast each hour from the last window, without an interval."""
    found = []
    for i in range(36, len(life.run_h), 12):
        now = float(life.run_h[i])
        use = (life.run_h <= now) & (life.run_h > now - WINDOW_H) & np.isfinite(life.drop_pa)
        if int(use.sum()) < 24 or now > life.life_h:
            continue
        left = forecast(life.run_h[use] - now, life.drop_pa[use], life.limit_pa)
        if np.isfinite(left):
            found.append((now, float("nan"), max(left, 0.0), float("nan")))
    return found


def _straight(hours: Float64, drop: Float64, limit: float) -> float:
    slope, level = np.polyfit(hours, drop, 1)
    return float((limit - level) / slope) if slope > 0 else float("nan")


def _log_linear(hours: Float64, drop: Float64, limit: float) -> float:
    slope, level = np.polyfit(hours, np.log(np.maximum(drop, 1.0)), 1)
    return float((np.log(limit) - level) / slope) if slope > 0 else float("nan")


_LINES: dict[str, Callable[[Float64, Float64, float], float]] = {
    "straight line, last window": _straight,
    "log-linear, last window": _log_linear,
}
