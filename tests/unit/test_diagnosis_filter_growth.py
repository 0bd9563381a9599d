"""The growth of a filter's drop against curves whose end is known, and the law of the interval."""

import itertools

import numpy as np
import pytest

from steadybead_domain.diagnosis.filter_growth import Growth, RunSeen, growth
from steadybead_domain.readings import Float64

BINS = 48


def curve(shape: float, start: float, end: float, x: Float64) -> Float64:
    """dR/dx = c R^shape from `start` at 0 to 1 at `end`, written out."""
    z = x / end
    if shape == 1.0:
        return np.asarray(start ** (1.0 - z))
    p = 1.0 - shape
    return np.asarray((start**p + (1.0 - start**p) * z) ** (1.0 / p))


def grown(x: Float64, y: Float64, noise: Float64, away: Float64 | None = None) -> Growth:
    return growth(RunSeen(x, y, noise, np.zeros_like(x) if away is None else away, 1.2))


def seen(shape: float, start: float, ahead: float, noise: float = 0.002, seed: int = 1) -> Growth:
    x = (np.arange(BINS) + 0.5) / BINS
    y = curve(shape, start, 1.0 + ahead, x)
    y = y + noise * np.random.default_rng(seed).standard_normal(BINS)
    return grown(x, y, np.full(BINS, noise + 0.003))


@pytest.mark.parametrize("shape", [0.0, 0.4, 0.7, 1.0, 1.2])
@pytest.mark.parametrize("ahead", [0.1, 0.5, 1.0])
def test_the_end_of_a_clean_curve_lies_within_the_interval(shape: float, ahead: float) -> None:
    known = seen(shape, 0.08, ahead)
    low, middle, high = known.ahead
    assert low < middle < high
    assert low * 0.95 <= ahead <= high * 1.05
    assert middle == pytest.approx(ahead, rel=0.25 if ahead < 1 else 0.5)


def test_a_straight_line_and_an_exponential_are_told_apart() -> None:
    assert seen(0.0, 0.1, 0.3).shape < 0.45 < seen(1.0, 0.03, 0.3).shape


def test_growth_and_level_now_are_those_of_the_curve() -> None:
    known = seen(1.0, 0.05, 0.5)
    assert known.rate == pytest.approx(-np.log(0.05) / 1.5, rel=0.1)
    assert known.level == pytest.approx(0.05 ** (1 - 1 / 1.5), rel=0.05)


def test_an_offset_of_the_sensor_hardly_moves_the_end() -> None:
    x = (np.arange(BINS) + 0.5) / BINS
    y = curve(0.8, 0.05, 1.4, x) + 0.03
    known = grown(x, y, np.full(BINS, 0.004))
    assert known.ahead[0] <= 0.4 <= known.ahead[2]


def test_small_changes_of_the_flow_are_taken_out_if_the_drop_follows_them() -> None:
    x = (np.arange(BINS) + 0.5) / BINS
    away = 0.05 * np.random.default_rng(8).standard_normal(BINS)
    clean, noise = curve(0.8, 0.2, 1.5, x), np.full(BINS, 0.004)
    follows = grown(x, clean * np.exp(-1.2 * away), noise, away)
    apart = grown(x, clean, noise, away)
    calm = grown(x, clean, noise)
    for known in (follows, apart):
        assert known.ahead[1] == pytest.approx(calm.ahead[1], rel=0.1)


def test_an_even_feed_gives_a_narrow_interval_and_an_uneven_one_a_wide_one() -> None:
    x = (np.arange(BINS) + 0.5) / BINS
    draw = np.random.default_rng(9)
    passed = np.cumsum(np.exp(0.6 * draw.standard_normal(BINS)))
    noise = np.full(BINS, 0.004)
    even = grown(x, curve(0.8, 0.2, 2.0, x), noise)
    uneven_ = grown(x, curve(0.8, 0.2, 2.0, passed / passed[-1]), noise)
    assert np.log(even.ahead[2] / even.ahead[0]) < 0.7 * np.log(uneven_.ahead[2] / uneven_.ahead[0])


def test_less_seen_is_a_wider_interval() -> None:
    near, far = seen(0.8, 0.05, 0.2), seen(0.8, 0.05, 2.5)
    assert far.ahead[2] / far.ahead[0] > near.ahead[2] / near.ahead[0]


def test_a_drop_that_does_not_grow_has_no_near_end() -> None:
    x = (np.arange(BINS) + 0.5) / BINS
    y = 0.2 + 0.003 * np.random.default_rng(3).standard_normal(BINS)
    known = grown(x, y, np.full(BINS, 0.006))
    assert known.ahead[0] > 3.0


def uneven(draw: np.random.Generator, n: int = 1200) -> tuple[Float64, Float64]:
    """A run whose dust rate wanders, with an offset and noise: none of it in the model."""
    spread, memory = draw.uniform(0.02, 0.3), draw.uniform(0.03, 0.4)
    keep = float(np.exp(-1.0 / (n * memory)))
    rate = np.zeros(n)
    for i in range(1, n):
        rate[i] = keep * rate[i - 1] + spread * np.sqrt(1 - keep**2) * draw.standard_normal()
    passed = np.cumsum(np.exp(rate))
    shape, start = draw.uniform(0.2, 1.1), np.exp(draw.uniform(np.log(0.015), np.log(0.3)))
    clean = curve(float(shape), float(start), 1.0, passed / passed[-1])
    noise = np.exp(draw.uniform(np.log(0.003), np.log(0.02)))
    return clean + noise * draw.standard_normal(n) + 0.01 * draw.standard_normal(), noise


def test_eighty_percent_intervals_cover_about_eighty_percent() -> None:
    """80 runs at 4 shares of life each: a coverage of 0.8 has a standard error near 0.03."""
    draw = np.random.default_rng(4711)
    inside, errors, total = 0, [], 0
    for _ in range(80):
        y, noise = uneven(draw)
        for share in (0.3, 0.5, 0.7, 0.85):
            n = int(len(y) * share)
            edges = np.linspace(0, n, BINS + 1).astype(int)
            means = np.array([y[a:b].mean() for a, b in itertools.pairwise(edges)])
            x = (edges[:-1] + edges[1:]) / 2 / n
            known = grown(x, means, noise / np.sqrt(n / BINS) + np.full(BINS, 0.003))
            true = (1 - share) / share
            inside += known.ahead[0] <= true <= known.ahead[2]
            total += 1
            if share == 0.5:
                errors.append(abs(known.ahead[1] - true) / true)
    assert 0.70 <= inside / total <= 0.92
    assert np.median(errors) <= 0.2
