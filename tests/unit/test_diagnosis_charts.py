"""Charts and trend tests against published worked examples and against scipy."""

import numpy as np
import pytest
from scipy import stats

from steadybead_domain.diagnosis.charts.shewhart import (
    NELSON,
    WESTERN_ELECTRIC,
    Shewhart,
    individuals_limits,
)
from steadybead_domain.diagnosis.charts.trend import mann_kendall, theil_sen

# R data set `Nile`, annual flow at Aswan 1871–1970 (values from memory of the books)
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180,
    799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833,
    701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845,
    864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649,
    846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815,
    1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip


def fired(points: list[float], rules: object) -> set[int]:
    chart = Shewhart(0.0, 1.0, rules)  # type: ignore[arg-type]
    return {number for point in points for number in chart.update(point)}


def test_eight_on_one_side_are_western_electric_four_and_not_nelson_two() -> None:
    """The oracle that tells the two rule sets apart (Nelson 1984; NIST e-Handbook 6.3.2)."""
    eight = [0.5, 0.2, 0.6, 0.1, 0.4, 0.3, 0.7, 0.2]
    assert fired(eight, WESTERN_ELECTRIC) == {4}
    assert fired(eight, NELSON) == set()
    assert fired([*eight, 0.3], NELSON) == {2}


@pytest.mark.parametrize(
    ("points", "rule"),
    [
        ([3.1], 1),
        ([0.1, 0.2, 0.3, 0.4, 0.5, 0.6], 3),
        ([0.1, -0.1] * 7, 4),
        ([2.1, 0.0, 2.2], 5),
        ([-1.1, -1.2, 0.5, -1.3, -1.4], 6),
        ([0.9, -0.9, -0.2] * 5, 7),
        ([1.5, -1.6, -1.2, 1.4, 1.2, -1.1, 1.3, -1.7], 8),
    ],
)
def test_each_nelson_rule_fires_with_its_last_point_and_not_before(
    points: list[float], rule: int
) -> None:
    assert rule in fired(points, NELSON)
    assert rule not in fired(points[:-1], NELSON)


def test_a_rule_of_some_points_does_not_fire_on_a_point_that_is_not_one_of_them() -> None:
    chart = Shewhart(0.0, 1.0)
    said = [chart.update(x) for x in (2.1, 2.2, 0.0)]
    assert said[1] == (5,)
    assert 5 not in said[2]


def test_individuals_limits_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2: centre 50.81, limits 45.8159 and 55.8041."""
    values = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    low, centre, high = individuals_limits(values)
    assert (low, centre, high) == pytest.approx((45.8159, 50.81, 55.8041), abs=2e-3)


def test_the_run_length_of_rule_one_is_370() -> None:
    """ARL of 3 σ limits: 1 / 0.0027 = 370.4 (any textbook)."""
    p = 2 * stats.norm.sf(3.0)
    assert 1 / p == pytest.approx(370.4, abs=0.1)
    draw = np.random.default_rng(12)
    hits = sum(bool(NELSON[1]([float(z)])) for z in draw.standard_normal(100_000))
    assert hits == pytest.approx(100_000 * p, rel=0.25)
    assert 1 / (2 * stats.norm.sf(4.35)) > 70_000


def test_mann_kendall_of_small_samples_is_exact() -> None:
    """Gilbert 1987, 16.4 (S 4, p 0.167) and EPA QA/G-9 (S 6, p 0.117), from memory."""
    gilbert = mann_kendall(np.array([10.0, 15.0, 14.0, 20.0]))
    assert (gilbert.s, gilbert.exact) == (4, True)
    assert gilbert.p_one_sided == pytest.approx(0.167, abs=5e-4)
    epa = mann_kendall(np.array([5.0, 6.0, 11.0, 8.0, 10.0]))
    assert epa.s == 6
    assert epa.p_one_sided == pytest.approx(0.117, abs=5e-4)


@pytest.mark.parametrize("n", [3, 4, 6, 8, 10])
def test_exact_chances_are_those_of_scipy(n: int) -> None:
    draw = np.random.default_rng(n)
    for _ in range(5):
        values = draw.permutation(n).astype(np.float64)
        ours = mann_kendall(values)
        theirs = stats.kendalltau(np.arange(n), values, method="exact")
        assert ours.p_two_sided == pytest.approx(theirs.pvalue)


def test_mann_kendall_of_the_nile() -> None:
    """S −1387, variance 112728.33 with ties, Z −4.1281, p 3.658e-5 (R, from memory)."""
    nile = mann_kendall(np.array(NILE, np.float64))
    assert nile.s == -1387
    assert nile.variance == pytest.approx(112_728.33, abs=0.01)
    assert nile.z == pytest.approx(-4.1281, abs=1e-4)
    assert nile.p_two_sided == pytest.approx(3.658e-5, rel=1e-3)


def test_theil_sen_of_the_books_and_of_the_nile() -> None:
    """Sen slopes 2.9167 (Gilbert), 1.125 (EPA); Nile −2.6, 1022.2, −3.628 … −1.429."""
    gilbert = theil_sen(np.arange(4.0), np.array([10.0, 15.0, 14.0, 20.0]))
    assert gilbert.slope == pytest.approx(2.9167, abs=1e-4)
    epa = theil_sen(np.arange(5.0), np.array([5.0, 6.0, 11.0, 8.0, 10.0]))
    assert epa.slope == pytest.approx(1.125)
    nile = theil_sen(np.arange(100.0), np.array(NILE, np.float64))
    assert (nile.slope, nile.intercept) == pytest.approx((-2.6, 1022.2), abs=0.05)
    assert (nile.low, nile.high) == pytest.approx((-3.628, -1.429), abs=0.02)


def test_theil_sen_is_that_of_scipy() -> None:
    draw = np.random.default_rng(3)
    x = np.sort(draw.uniform(0, 10, 40))
    y = 0.3 * x + draw.standard_normal(40)
    ours, theirs = theil_sen(x, y), stats.theilslopes(y, x, 0.95)
    assert ours.slope == pytest.approx(theirs[0])
    assert ours.intercept == pytest.approx(theirs[1])
    assert (ours.low, ours.high) == pytest.approx((theirs[2], theirs[3]), abs=0.01)


def test_too_little_is_refused() -> None:
    with pytest.raises(ValueError, match="at least 3"):
        mann_kendall(np.array([1.0, 2.0]))
    with pytest.raises(ValueError, match="no slope"):
        theil_sen(np.ones(4), np.arange(4.0))
