"""The likely cause where a thermocouple reads what cannot be, from steady raw readings.

Emf by NIST Monograph 175: type J has 18.538 mV at 340 °C against 0 °C (18.537 to 18.540 by its
table), type K 12.209 mV at 300 °C.
"""

import numpy as np
import pytest

from conversion_plant import channel
from steadybead_domain.conversion.specs import CurrentLoop, Thermocouple
from steadybead_domain.conversion.wiring import wiring_hint
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64

K = channel("gun-a/nozzle", Quantity.NOZZLE_TEMPERATURE, "mV", Thermocouple("K", 0.0))
IN_VOLT = channel("gun-a/nozzle", Quantity.NOZZLE_TEMPERATURE, "V", Thermocouple("K", 0.0))
LOOP = channel("gun-a/nozzle", Quantity.NOZZLE_TEMPERATURE, "mA", CurrentLoop(0, 500, "Cel"))


def steady(mv: float) -> Float64:
    return mv + np.array([0.0, 0.01, -0.01, 0.02, 0.0])


def test_j_wire_read_as_k_is_named() -> None:
    hint = wiring_hint(K, steady(18.538), 0.0, 340.0)
    assert hint is not None
    assert hint.shown_c == pytest.approx(451.0, abs=1.0)
    assert 'write type = "J"' in hint.text


def test_reversed_leads_are_named_without_any_expectation() -> None:
    hint = wiring_hint(IN_VOLT, steady(-12.209) / 1000.0, 0.0)
    assert hint is not None
    assert "swap + and -" in hint.text


@pytest.mark.parametrize(
    ("raw", "expected_c"),
    [
        (steady(12.209), 300.0),
        (steady(12.209), None),
        (steady(18.538)[:2], 340.0),
        (np.linspace(12.0, 18.5, 20), 340.0),
        (np.empty(0), 340.0),
    ],
    ids=["plausible", "nothing expected", "too few", "warming", "nothing"],
)
def test_no_hint_where_nothing_can_be_said(raw: Float64, expected_c: float | None) -> None:
    assert wiring_hint(K, raw, 0.0, expected_c) is None


def test_other_conversions_have_no_leads_to_reverse() -> None:
    assert wiring_hint(LOOP, steady(-12.0), 0.0) is None
