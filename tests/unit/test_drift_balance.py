"""The energy balance: what it learns, what it leaves over, how sure it is."""

import numpy as np
import pytest

from steadybead_domain.diagnosis.balance import BalancePoint, EnergyBalance, air_terms

ALPHA, LOSS = 1.04, 0.19


def points(
    rng: np.random.Generator, n: int = 30, flow: float = 50.0, loss: float = LOSS, nozzle: str = ""
) -> list[BalancePoint]:
    made = []
    for _ in range(n):
        q, t = flow * rng.normal(1, 0.03), rng.normal(330, 3)
        given = (np.array([value]) for value in (q, t, 33.0, 20.0))
        heat_w, over_c, capacity_w_k = (float(term[0]) for term in air_terms(*given))
        power = (ALPHA * heat_w + loss * over_c) * rng.normal(1, 0.004)
        made.append(BalancePoint(nozzle, power, heat_w, over_c, capacity_w_k))
    return made


def learnt(rng: np.random.Generator) -> EnergyBalance:
    balance = EnergyBalance(has_scale=True)
    for _ in range(4):
        balance.learn(points(rng))
    return balance


def test_says_nothing_before_it_has_learnt() -> None:
    rng = np.random.default_rng(1)
    balance = EnergyBalance(has_scale=True)
    for _ in range(3):
        assert balance.learn(points(rng)) == []
        assert balance.residual(points(rng)) is None
    assert len(balance.learn(points(rng))) == 4


def test_leaves_nothing_over_where_all_is_well() -> None:
    rng = np.random.default_rng(2)
    found = learnt(rng).residual(points(rng))
    assert found is not None
    assert abs(found.value_w) < 1.5
    assert found.sigma_w < 3.0


def test_a_thermocouple_that_reads_high_leaves_power_short() -> None:
    rng = np.random.default_rng(3)
    balance = learnt(rng)
    true = points(rng)
    high = [
        BalancePoint("", p.power_w, p.heat_w + 10 * p.capacity_w_k, p.over_c + 10, p.capacity_w_k)
        for p in true
    ]
    found = balance.residual(high)
    assert found is not None
    assert -found.value_w / found.per_c == pytest.approx(10.0, abs=1.5)


def test_a_flow_meter_that_reads_high_leaves_power_short() -> None:
    rng = np.random.default_rng(4)
    balance = learnt(rng)
    high = [
        BalancePoint("", p.power_w, 1.05 * p.heat_w, p.over_c, p.capacity_w_k) for p in points(rng)
    ]
    found = balance.residual(high)
    assert found is not None
    assert -found.value_w / found.per_pct == pytest.approx(5.0, abs=0.6)


def test_a_real_loss_of_flow_leaves_nothing_over() -> None:
    rng = np.random.default_rng(5)
    found = learnt(rng).residual(points(rng, flow=42.0))
    assert found is not None
    assert abs(found.value_w) < 2.5 * max(found.sigma_w, 1.0)


def test_is_less_sure_far_from_what_it_learnt() -> None:
    rng = np.random.default_rng(6)
    balance = learnt(rng)
    near, far = balance.residual(points(rng)), balance.residual(points(rng, flow=25.0))
    assert near is not None
    assert far is not None
    assert far.sigma_w > 2 * near.sigma_w


def test_learns_each_nozzle_for_itself_and_the_second_one_faster() -> None:
    rng = np.random.default_rng(7)
    balance = EnergyBalance(has_scale=True)
    for _ in range(4):
        balance.learn(points(rng, nozzle="speed"))

    def wide() -> list[BalancePoint]:
        return points(rng, loss=0.24, nozzle="round")

    assert balance.residual(wide()) is None
    balance.learn(wide())
    balance.learn(wide())
    found = balance.residual(wide())
    assert found is not None
    assert abs(found.value_w) < 2.5


def test_a_saved_balance_goes_on_as_if_nothing_had_been() -> None:
    rng = np.random.default_rng(8)
    balance = learnt(rng)
    again = EnergyBalance(has_scale=True)
    again.load(balance.dump())
    probe = points(rng)
    assert again.residual(probe) == balance.residual(probe)


def test_forgets() -> None:
    rng = np.random.default_rng(9)
    balance = learnt(rng)
    balance.forget()
    assert balance.residual(points(rng)) is None
