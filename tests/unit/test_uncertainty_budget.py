"""Published worked budgets, rebuilt from their inputs."""

import math

import pytest
from scipy import stats

from steadybead_domain.uncertainty.budget import Budget, Distribution, Term
from steadybead_domain.uncertainty.coverage import coverage_factor, student_coverage

NORMAL = Distribution.NORMAL


def standard(
    name: str, u: float, unit: str, sensitivity: float = 1.0, dof: float = math.inf
) -> Term:
    return Term(name, u, unit, NORMAL, 1.0, sensitivity, dof)


def test_gum_h1_end_gauge() -> None:
    """JCGM 100:2008, H.1 and table H.1: u_c 32 nm, 16 degrees of freedom, U99 = 93 nm.

    Inputs from memory of the table; they reproduce its printed results.
    """
    length_nm, expansion, theta = 50e6, 11.5e-6, -0.1
    budget = Budget(
        (
            standard("calibration of the standard", 25.0, "nm", dof=18),
            standard("measured difference", 9.7, "nm", dof=25.6),
            standard("difference of expansion", 0.58e-6, "1/K", -length_nm * theta, 50),
            standard("difference of temperature", 0.029, "K", -length_nm * expansion, 2),
        ),
        "nm",
        coverage=0.99,
    )
    assert budget.combined == pytest.approx(32.0, abs=0.5)
    assert int(budget.effective_dof) == 16
    assert budget.factor == pytest.approx(2.92, abs=0.005)
    assert budget.expanded == pytest.approx(93.0, abs=0.6)


def furnace() -> Budget:
    """EA-4/02 S5, the temperature of the furnace by two reference thermocouples."""
    return Budget(
        (
            Term("reading of the references", 0.10, "°C", NORMAL, 1.0, dof=9),
            Term("voltmeter calibration", 2.0, "µV", NORMAL, 2.0, 0.077),
            Term("voltmeter resolution", 0.5, "µV", sensitivity=0.077),
            Term("switch", 2.0, "µV", sensitivity=0.077),
            Term("0 °C junction", 0.1, "°C", sensitivity=-0.407),
            Term("calibration of the references", 0.3, "°C", NORMAL, 2.0),
            Term("drift of the references", 0.3, "°C"),
            Term("uniformity of the furnace", 1.0, "°C"),
        ),
        "°C",
    )


def test_ea_4_02_s5_type_n_at_1000_c() -> None:
    """EA-4/02, example S5: furnace u 0.641 °C; emf u 24.97 µV, U 50 µV. Inputs from memory."""
    assert furnace().combined == pytest.approx(0.641, abs=5e-4)
    emf = Budget(
        (
            Term("voltmeter reading", 1.60, "µV", NORMAL, 1.0, dof=9),
            Term("voltmeter calibration", 2.0, "µV", NORMAL, 2.0),
            Term("voltmeter resolution", 0.5, "µV"),
            Term("switch", 2.0, "µV"),
            Term("extension leads", 5.0, "µV"),
            Term("0 °C junction", 0.1, "°C", sensitivity=-25.6),
            Term("furnace", furnace().combined, "°C", NORMAL, 1.0, 1 / 0.026),
        ),
        "µV",
    )
    assert emf.combined == pytest.approx(24.97, abs=0.02)
    assert emf.factor == 2.0
    assert emf.expanded == pytest.approx(50.0, abs=0.1)


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 9, 16, 17, 50, 333])
@pytest.mark.parametrize("coverage", [0.6827, 0.95, 0.9545, 0.99])
def test_coverage_factors_are_scipys(dof: int, coverage: float) -> None:
    assert coverage_factor(dof, coverage) == pytest.approx(stats.t.ppf(0.5 + coverage / 2, dof))
    assert student_coverage(1.3, dof) == pytest.approx(2 * stats.t.cdf(1.3, dof) - 1)


@pytest.mark.parametrize(
    ("dof", "coverage", "table"),
    [(1, 0.95, 12.71), (5, 0.95, 2.57), (10, 0.99, 3.17), (16, 0.99, 2.92), (20, 0.9545, 2.13)],
)
def test_coverage_factors_are_those_of_gum_table_g2(
    dof: int, coverage: float, table: float
) -> None:
    assert coverage_factor(dof + 0.9, coverage) == pytest.approx(table, abs=0.005)


def test_infinite_freedom_gives_the_normal_factor() -> None:
    assert coverage_factor(math.inf, 0.95) == pytest.approx(1.959964, abs=1e-6)


@pytest.mark.parametrize(
    ("shape", "divisor"),
    [
        (Distribution.RECTANGULAR, math.sqrt(3)),
        (Distribution.TRIANGULAR, math.sqrt(6)),
        (Distribution.U_SHAPED, math.sqrt(2)),
        (NORMAL, 1.0),
    ],
)
def test_divisors_of_the_gum(shape: Distribution, divisor: float) -> None:
    assert Term("x", 3.0, "V", shape).standard == pytest.approx(3.0 / divisor)


def test_only_averaging_terms_shrink_in_a_mean() -> None:
    budget = Budget(
        (
            Term("offset", 1.0, "°C", NORMAL, 1.0),
            Term("noise", 2.0, "°C", NORMAL, 1.0, averages_over_s=2.0),
        ),
        "°C",
    )
    assert budget.over(1.0).combined == pytest.approx(math.sqrt(5.0))
    assert budget.over(2.0).combined == budget.combined
    assert budget.over(8.0).combined == pytest.approx(math.sqrt(2.0))
    assert budget.over(1e12).combined == pytest.approx(1.0)


def test_the_budget_prints_term_by_term_largest_first() -> None:
    shown = furnace().to_json()
    assert shown["unit"] == "°C"
    assert shown["terms"][0]["name"] == "uniformity of the furnace"
    sizes = [row["contribution"] for row in shown["terms"]]
    assert sizes == sorted(sizes, reverse=True)
    assert sum(s**2 for s in sizes) == pytest.approx(shown["combined"] ** 2)
    assert shown["effective_dof"] is not None


def test_no_terms_no_doubt() -> None:
    assert Budget((), "°C").expanded == 0.0
    assert Budget((), "°C").to_json()["effective_dof"] is None
