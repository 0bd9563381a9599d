"""Simple detectors on the same readings, one figure a shift: what the diagnosis has to beat.

They name no cause. Each sees gun a's nozzle temperature and the flow, and learns from its first
shifts. river and ruptures are asked where they are installed.
"""

import importlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import numpy as np

from bench.score_events import free_months
from bench.score_match import MEANT, shifts_between
from bench.score_shop import us
from bench.score_walk import Walked
from simulated_shop import MONDAY
from steadybead_domain.readings import Float64
from steadybead_domain.times import DAY

LEARN = 8  # shifts
WEIGHT = 0.2
RUN_LENGTH = 70_000.0
FIXED_C, FIXED_SHARE = 10.0, 0.15
DRIFTS = tuple(k for k, m in MEANT.items() if m.slow and m.cause)
Detector = Callable[[Float64, bool], list[int]]


@dataclass(frozen=True, slots=True)
class Alarmed:
    """How one simple detector did on one span: on its fault, and where nothing was wrong."""

    method: str
    level: str
    seed: int
    kind: str
    found: bool | None
    shifts: int | None
    false: int
    months: float


def by_shift(walked: Walked) -> tuple[list[int], dict[str, Float64]]:
    """Give the days and, for each figure, the median of the hot blocks of each day."""
    hot = [b for b in walked.blocks if b.hot]
    days = sorted({(b.time - MONDAY) // DAY for b in hot})
    of_day = [[b for b in hot if (b.time - MONDAY) // DAY == d] for d in days]
    nozzle = np.array([np.median([b.nozzle_c for b in rows]) for rows in of_day])
    flow = np.array([np.median([b.flow_l_min for b in rows]) for rows in of_day])
    return days, {"nozzle": nozzle, "flow": flow}


def score_baselines(walked: Walked) -> list[Alarmed]:
    """Judge all simple detectors on a clean span, or on the first slow fault of another."""
    faults = [f for f in walked.span.faults if f.kind.name in DRIFTS]
    clean = walked.span.kind == "clean"
    if not clean and (not faults or faults[0] is not walked.span.faults[0]):
        return []
    days, figures = by_shift(walked)
    onset = walked.end if clean else us(faults[0].start_s)
    end = walked.end if clean else min(us(faults[0].end_s) + DAY, walked.end)
    rows = []
    for method, detect in detectors().items():
        hits = {i for n, v in figures.items() if len(v) > LEARN for i in detect(v, n == "flow")}
        times = sorted(MONDAY + (days[i] + 1) * DAY for i in hits)
        after = [t for t in times if onset < t <= end + DAY]
        rows.append(
            Alarmed(
                method,
                walked.span.level,
                walked.span.seed,
                "" if clean else faults[0].kind.name,
                None if clean else bool(after),
                shifts_between(walked.blocks, onset, after[0] - 1) if after else None,
                sum(t <= onset for t in times),
                free_months(walked),
            )
        )
    return rows


def detectors() -> Mapping[str, Detector]:
    """Give the detectors by name: figures by shift in, the shifts that alarm out."""
    found: dict[str, Detector] = {"fixed threshold": _fixed, "EWMA, one channel": _ewma}
    river, ruptures = _module("river.drift"), _module("ruptures")
    if river is not None:
        found["river ADWIN"] = lambda x, _: _fed(river.ADWIN(), _standard(x))
        found["river Page–Hinkley"] = lambda x, _: _fed(
            river.PageHinkley(min_instances=LEARN, threshold=10.0), _standard(x)
        )
    if ruptures is not None:
        found["ruptures PELT, afterwards"] = lambda x, _: _cut(ruptures, _standard(x))
    return found


def _module(name: str) -> ModuleType | None:
    try:
        return importlib.import_module(name)
    except ImportError:
        return None


def _standard(x: Float64) -> Float64:
    learnt = x[:LEARN]
    spread = max(float(np.std(learnt, ddof=1)), 1e-3 * abs(float(np.mean(learnt))))
    z: Float64 = (x - np.mean(learnt)) / spread
    return z


def _fixed(x: Float64, is_flow: bool) -> list[int]:
    level = float(np.mean(x[:LEARN]))
    allowed = FIXED_SHARE * level if is_flow else FIXED_C
    return _rises(np.abs(x - level) > allowed)


def _ewma(x: Float64, _: bool) -> list[int]:
    z, level = _standard(x), 0.0
    limit = ewma_limit(WEIGHT, RUN_LENGTH) * np.sqrt(WEIGHT / (2.0 - WEIGHT))
    out = np.zeros(len(z), np.bool_)
    for i in range(LEARN, len(z)):
        level = (1.0 - WEIGHT) * level + WEIGHT * float(z[i])
        out[i] = abs(level) > limit
    return _rises(out)


def _rises(out: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[int]:
    before = np.concatenate(([False], out[:-1]))
    return np.flatnonzero(out & ~before).tolist()


def _fed(detector: Any, x: Float64) -> list[int]:
    found = []
    for i, value in enumerate(x.tolist()):
        detector.update(value)
        if detector.drift_detected:
            found.append(i)
    return found


def _cut(ruptures: ModuleType, x: Float64) -> list[int]:
    """Find changes of the mean with the usual penalty, 3 ln n for unit variance."""
    model = ruptures.Pelt(model="l2", min_size=3, jump=1).fit(x.reshape(-1, 1))
    return [int(i) for i in model.predict(pen=3.0 * np.log(len(x))) if i < len(x)]


_LIMITS: dict[tuple[float, float], float] = {}


def ewma_limit(weight: float, run_length: float) -> float:
    """Give L for a two-sided EWMA, by the Markov chain of Lucas and Saccucci (1990)."""
    key = (weight, run_length)
    if key not in _LIMITS:
        low, high = 1.0, 8.0
        for _ in range(40):
            middle = 0.5 * (low + high)
            if ewma_run_length(weight, middle) < run_length:
                low = middle
            else:
                high = middle
        _LIMITS[key] = 0.5 * (low + high)
    return _LIMITS[key]


def ewma_run_length(weight: float, limit: float, states: int = 101) -> float:
    """Give the mean number of points to a false signal, from the centre, without a shift."""
    stats = importlib.import_module("scipy.stats")
    edge = limit * np.sqrt(weight / (2.0 - weight))
    step = 2.0 * edge / states
    centre = -edge + step * (np.arange(states) + 0.5)
    lower = (centre[None, :] - 0.5 * step - (1.0 - weight) * centre[:, None]) / weight
    upper = lower + step / weight
    move = stats.norm.cdf(upper) - stats.norm.cdf(lower)
    lengths = np.linalg.solve(np.eye(states) - move, np.ones(states))
    return float(lengths[states // 2])
