"""Wiring mistakes worked out from the NIST Monograph 175 tables."""

import numpy as np
import pytest

from steadybead_domain.conversion.plausibility import (
    WiringMistake,
    shown_by_wrong_type,
    thermocouple_hint,
)
from steadybead_domain.conversion.thermocouple import emf_mv


def wire_mv(letter: str, hot_c: float, cold_c: float) -> float:
    return float(np.subtract(*(emf_mv(letter, np.array([t]))[0] for t in (hot_c, cold_c))))


def test_j_wire_read_as_k_at_340_shows_about_451() -> None:
    assert shown_by_wrong_type("J", "K", 340.0) == pytest.approx(451, abs=0.5)
    assert shown_by_wrong_type("K", "J", 340.0) == pytest.approx(256, abs=0.5)


def test_wrong_type_is_named() -> None:
    mv = wire_mv("J", 340.0, 25.0)
    hint = thermocouple_hint("K", mv, 25.0, expected_c=338.0)
    assert hint is not None
    assert hint.mistake is WiringMistake.WRONG_TYPE
    assert hint.would_be_c == pytest.approx(340.0, abs=0.01)
    assert 'the wire is probably type J; check its colour and write type = "J"' in hint.text


@pytest.mark.parametrize("hot_c", [60.0, 200.0, 340.0, 600.0])
def test_reversed_leads_are_told_without_knowing_the_set_value(hot_c: float) -> None:
    hint = thermocouple_hint("K", -wire_mv("K", hot_c, 25.0), 25.0)
    assert hint is not None
    assert hint.mistake is WiringMistake.REVERSED_LEADS
    assert hint.would_be_c == pytest.approx(hot_c, abs=0.01)


def test_a_cold_junction_counted_twice() -> None:
    """An instrument that compensates by itself sends 13.874 mV; 25 °C are added once more."""
    hint = thermocouple_hint("K", wire_mv("K", 340.0, 0.0), 30.0, expected_c=340.0)
    assert hint is not None
    assert hint.mistake is WiringMistake.COLD_JUNCTION_COUNTED_TWICE


@pytest.mark.parametrize("letter", ["K", "J", "N"])
@pytest.mark.parametrize("cold_c", [5.0, 25.0, 45.0])
@pytest.mark.parametrize("hot_c", [10.0, 25.0, 120.0, 340.0, 600.0])
def test_right_wiring_raises_no_hint(letter: str, cold_c: float, hot_c: float) -> None:
    mv = wire_mv(letter, hot_c, cold_c)
    for expected_c in (None, hot_c, hot_c + 20.0, hot_c - 20.0):
        assert thermocouple_hint(letter, mv, cold_c, expected_c) is None


def test_a_cold_gun_with_the_heat_off_is_no_mistake() -> None:
    """The nozzle cooled to 15 °C, the terminals still warm at 35 °C."""
    assert thermocouple_hint("K", wire_mv("K", 15.0, 35.0), 35.0) is None


def test_an_odd_reading_that_no_wiring_explains_gets_no_hint() -> None:
    assert thermocouple_hint("K", wire_mv("K", 200.0, 25.0), 25.0, expected_c=340.0) is None
