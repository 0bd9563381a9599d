"""The simulator's thermocouples against libraries that are not ours and published points."""

import numpy as np
import pytest
import thermocouple_its90

from steadybead_simulator.thermocouple import (
    ORDERING_MOST_K,
    emf_mv,
    ordering_k,
    ordering_weight,
    temperature_c,
)

# NIST Monograph 175 / IEC 60584-1 tables, mV against 0 °C.
TABLE = {
    "K": {25: 1.000242, 100: 4.096230, 300: 12.208566, 350: 14.293149, 600: 24.905467},
    "J": {25: 1.277288, 100: 5.268916, 300: 16.327206, 350: 19.090463, 600: 33.102410},
    "N": {25: 0.658646, 100: 2.774124, 300: 9.341152, 350: 11.136178, 600: 20.613107},
}


@pytest.mark.parametrize("kind", TABLE)
def test_table_points(kind: str) -> None:
    for t_c, mv in TABLE[kind].items():
        assert emf_mv(kind, np.array([float(t_c)]))[0] == pytest.approx(mv, abs=2e-6)


@pytest.mark.parametrize("kind", TABLE)
def test_every_degree_against_a_foreign_library(kind: str) -> None:
    t_c = np.arange(-150.0, 1150.0, 7.0)
    foreign = [thermocouple_its90.get(kind).emf(float(t)) for t in t_c]
    assert np.abs(emf_mv(kind, t_c) - foreign).max() < 1e-6


@pytest.mark.parametrize("kind", TABLE)
def test_inverse(kind: str) -> None:
    t_c = np.linspace(-50.0, 900.0, 999)
    assert np.abs(temperature_c(kind, emf_mv(kind, t_c)) - t_c).max() < 0.002


def test_unknown_type_is_refused() -> None:
    with pytest.raises(KeyError):
        emf_mv("Q", np.array([1.0]))


@pytest.mark.parametrize(("minutes", "kelvin"), [(5, 0.9), (45, 1.9), (420, 3.7)])
def test_ordering_at_350(minutes: float, kelvin: float) -> None:
    """A thermocouple maker's note: +0.9 °C after 5 min, +1.9 after 45 min, +3.7 after 7 h."""
    assert ordering_k(minutes) == pytest.approx(kelvin, abs=0.06)


def test_ordering_levels_off() -> None:
    """ORNL-TM-4862 (1975): errors up to 1.7 %."""
    assert ordering_k(1e6) == pytest.approx(0.017 * 350.0, abs=0.01)
    assert ordering_k(1e9) <= ORDERING_MOST_K


def test_ordering_goes_only_between_200_and_600() -> None:
    """The same report: ordering at 200–600 °C, disordering above."""
    weight = ordering_weight(np.array([150.0, 200.0, 400.0, 600.0, 700.0]))
    assert weight.tolist() == [0.0, 0.0, 1.0, 0.0, 0.0]
