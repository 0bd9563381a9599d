"""Control charts beside the published examples and run-length tables."""

import doctest

import pytest

from steadybead_domain.diagnosis.charts import cusum, ewma
from steadybead_domain.diagnosis.charts.cusum import Cusum, limit_for, run_length
from steadybead_domain.diagnosis.charts.ewma import Ewma
from steadybead_domain.diagnosis.feature import ALLOWANCE, DECISION

# NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959, first signal at group 14
CUSUM_DATA = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip
CUSUM_HIGH = [
    0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04,
]  # fmt: skip
CUSUM_LOW = [
    0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0,
]  # fmt: skip
# NIST/SEMATECH e-Handbook 6.3.2.4: λ 0.3, target 50, s 2.0539, L 3, no signal
EWMA_DATA = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2,
    52.6, 52.4, 53.6, 52.1,
]  # fmt: skip
EWMA = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52,
    50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip


def test_cusum_follows_the_handbook_example() -> None:
    chart = Cusum(target=325.0, k=0.3175, h=4.1959)
    signals, high, low = [], [], []
    for x in CUSUM_DATA:
        signals.append(chart.update(x))
        high.append(chart.high)
        low.append(chart.low)
    assert high == pytest.approx(CUSUM_HIGH, abs=0.02)
    assert low == pytest.approx(CUSUM_LOW, abs=0.011)
    assert signals.index(1) == 13
    assert -1 not in signals
    assert chart.points_since_zero(1) == 8


def test_ewma_follows_the_handbook_example() -> None:
    chart = Ewma(target=50.0, sigma=2.0539, weight=0.3, width=3.0)
    values, signals = [], []
    for x in EWMA_DATA:
        signals.append(chart.update(x))
        values.append(chart.value)
    assert values == pytest.approx(EWMA, abs=0.0051)
    assert not any(signals)
    assert chart.limits == pytest.approx((47.4116, 52.5884), abs=2e-4)


def test_ewma_signals_on_both_sides() -> None:
    assert [Ewma(0.0, 1.0, 0.5, 3.0).update(x) for x in (9.0, -9.0, 1.0)] == [1, -1, 0]


@pytest.mark.parametrize(
    ("k", "h", "shift", "length"),
    # Montgomery, Introduction to Statistical Quality Control, tables 9.3 and 9.4 (from memory)
    [
        (0.5, 4.0, 0.0, 168.0),
        (0.5, 4.0, 1.0, 8.38),
        (0.5, 4.0, 3.0, 2.19),
        (0.5, 5.0, 0.0, 465.0),
        (0.5, 5.0, 0.5, 38.0),
        (0.5, 5.0, 2.0, 4.01),
        (0.25, 8.01, 0.0, 370.0),
        (1.0, 2.52, 0.0, 370.0),
        (1.5, 1.61, 0.0, 370.0),
    ],
)
def test_run_lengths_agree_with_the_tables(k: float, h: float, shift: float, length: float) -> None:
    assert run_length(k, h, shift) == pytest.approx(length, rel=0.02)


@pytest.mark.parametrize("k", [0.25, 0.5, 1.0])
def test_limits_are_chosen_for_seventy_thousand_points(k: float) -> None:
    assert run_length(k, limit_for(k)) == pytest.approx(70_000, rel=0.01)


def test_the_decision_interval_of_the_figures_is_that_limit() -> None:
    assert limit_for(ALLOWANCE) == pytest.approx(DECISION, abs=0.002)


def test_the_examples_in_the_docstrings_hold() -> None:
    for module in (cusum, ewma):
        result = doctest.testmod(module)
        assert result.attempted
        assert not result.failed
