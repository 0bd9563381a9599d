"""Filter logs as others write them: lives of seconds to weeks, odd rates, noise, bias, clipping.

The lives follow no law of the forecast's: shape, start, feed and sensor are drawn for each log.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from steadybead_domain.diagnosis.filter import FELL, REACHED, ROSE, FilterTracker, FilterUpdate
from steadybead_domain.diagnosis.filter_data import Sample
from steadybead_domain.readings import Float64

SHARES = (0.3, 0.5, 0.7, 0.85)
LIVES_S = (3.0, 10.0, 30.0, 70.0, 140.0, 3e4, 1.2e6)


@dataclass(frozen=True)
class Log:
    """`end_s`: when the drop that the sensor would show without noise reaches the limit."""

    rows: list[Sample]
    limit_pa: float
    end_s: float

    def followed(self) -> list[FilterUpdate]:
        tracker = FilterTracker(self.limit_pa)
        updates = [u for row in self.rows for u in tracker.update(row)]
        return [*updates, *tracker.finish()]


def passed(draw: np.random.Generator, n: int) -> Float64:
    """Share of the life at each sample, up to 1.15; the feed wanders."""
    spread, keep = draw.choice([0.02, 0.1, 0.25]), np.exp(-10.0 / n)
    rate = np.zeros(int(1.15 * n))
    for i in range(1, len(rate)):
        rate[i] = keep * rate[i - 1] + spread * np.sqrt(1 - keep**2) * draw.standard_normal()
    total = np.cumsum(np.exp(rate))
    return np.asarray(total / total[n])


def drawn(draw: np.random.Generator) -> Log:
    life_s = float(draw.choice(LIVES_S))
    n = int(np.clip(life_s * 10, 30, 600)) if life_s < 1e3 else int(draw.integers(400, 1000))
    share, shape = passed(draw, n), float(draw.uniform(0.0, 0.95))
    foot = float(np.exp(draw.uniform(np.log(0.02), np.log(0.35)))) ** (1.0 - shape)
    limit = float(draw.choice([250.0, 300.0, 600.0]))
    clean = limit * (foot + (1.0 - foot) * share) ** (1.0 / (1.0 - shape))
    clean = clean + limit * draw.choice([-0.02, 0.0, 0.02])
    seen = clean + limit * draw.choice([0.002, 0.01, 0.03]) * draw.standard_normal(len(clean))
    if draw.random() < 0.5:
        seen = np.maximum(seen, 0.0)
    if draw.random() < 0.3:
        seen = np.round(seen / 5.0) * 5.0
    time = np.arange(len(clean)) / n * life_s
    end_s = float(time[np.argmax(clean >= limit)])
    if draw.random() < 0.4:
        time[draw.integers(len(time))] = draw.choice([-1e9, 0.0, 1e9, 3.0 * life_s])
    flow = 50.0 * (1.0 + 0.02 * draw.standard_normal(len(clean))) * (1.0 - 0.03 * share)
    with_flow = draw.random() < 0.5
    rows = [
        Sample(float(t), float(p), float(q) if with_flow else None)
        for t, p, q in zip(time, seen, flow, strict=True)
    ]
    return Log(rows, limit, end_s)


@pytest.fixture(scope="module")
def followed() -> list[tuple[Log, list[FilterUpdate]]]:
    draw = np.random.default_rng(815)
    logs = [drawn(draw) for _ in range(28)]
    return [(log, log.followed()) for log in logs]


def taken(log: Log, updates: list[FilterUpdate]) -> Iterator[tuple[float, bool, float]]:
    """Give, at each share of the life, whether the interval covers and the relative error."""
    for share in SHARES:
        due = share * log.end_s
        known = [
            u
            for u in updates
            if u.remaining_s and due <= u.time_s <= min(due + 0.08 * log.end_s, log.end_s)
        ]
        if known:
            left, told = log.end_s - known[0].time_s, known[0]
            assert told.low_s is not None
            assert told.high_s is not None
            assert told.remaining_s is not None
            yield share, told.low_s <= left <= told.high_s, told.remaining_s / left - 1.0


def test_intervals_cover_and_half_way_the_rest_is_known(
    followed: list[tuple[Log, list[FilterUpdate]]],
) -> None:
    """112 intervals: a coverage of 0.8 has a standard error of 0.05, as those of a log go along."""
    rows = [row for log, updates in followed for row in taken(log, updates)]
    assert len(rows) > 0.9 * len(SHARES) * len(followed)
    assert 0.70 <= np.mean([covers for _, covers, _ in rows]) <= 0.92
    assert np.median([abs(error) for share, _, error in rows if share == 0.5]) <= 0.2


def test_the_limit_is_told_when_it_is_there(
    followed: list[tuple[Log, list[FilterUpdate]]],
) -> None:
    off = []
    for log, updates in followed:
        reached = [u.time_s for u in updates if u.finding == REACHED]
        assert reached, log.end_s
        off.append((reached[0] - log.end_s) / log.end_s)
    assert np.median(np.abs(off)) <= 0.02
    assert max(off) <= 0.05
    assert min(off) >= -0.2


def test_no_log_of_mere_loading_is_told_as_a_jump(
    followed: list[tuple[Log, list[FilterUpdate]]],
) -> None:
    for log, updates in followed:
        said = {u.finding for u in updates if 0.0 <= u.time_s <= log.end_s}
        assert not said & {ROSE, FELL}


@pytest.mark.parametrize("n", [8, 10, 20])
def test_a_life_of_a_second_at_ten_hertz_ends_with_the_limit(n: int) -> None:
    rows = [Sample(0.1 * i, 600.0 * 0.05 ** (1.0 - i / n)) for i in range(n + 3)]
    updates = Log(rows, 600.0, 0.1 * n).followed()
    reached = [u.time_s for u in updates if u.finding == REACHED]
    assert reached
    assert 0.1 * (n - 1) - 1e-9 <= reached[0] <= 0.1 * (n + 1) + 1e-9


def test_a_blockage_beyond_the_limit_is_told_as_a_blockage_first() -> None:
    draw = np.random.default_rng(3)
    drop = np.concatenate((60.0 + 0.05 * np.arange(1000), np.full(60, 400.0)))
    rows = [Sample(30.0 * i, float(p)) for i, p in enumerate(drop + draw.standard_normal(1060))]
    said = [u.finding for u in Log(rows, 250.0, 3e4).followed() if u.finding in (ROSE, REACHED)]
    assert said
    assert said[0] == ROSE
    assert said[-1] == REACHED
