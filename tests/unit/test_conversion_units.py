import subprocess
import sys

import pytest

from steadybead_domain.conversion import units
from steadybead_domain.conversion.units import UnitError, same_dimension, to_unit
from steadybead_domain.quantities import Quantity

# exact by definition: SI brochure; 1 in = 25.4 mm, 1 lbf = 4.4482216152605 N (NIST SP 811)
EXACT = [
    ("Cel", "Cel", 1.0, 0.0),
    ("K", "Cel", 1.0, -273.15),
    ("degF", "Cel", 5 / 9, -160 / 9),
    ("°C", "Cel", 1.0, 0.0),
    ("l/min", "L/min", 1.0, 0.0),
    ("l/s", "L/min", 60.0, 0.0),
    ("m3/s", "L/min", 60_000.0, 0.0),
    ("m3/h", "L/min", 1000 / 60, 0.0),
    ("ft3/min", "L/min", 28.316846592, 0.0),
    ("mbar", "Pa", 100.0, 0.0),
    ("hPa", "Pa", 100.0, 0.0),
    ("kPa", "Pa", 1000.0, 0.0),
    ("bar", "Pa", 100_000.0, 0.0),
    ("psi", "Pa", 6894.757293168362, 0.0),
    ("mmHg", "Pa", 133.322387415, 0.0),
    ("uV", "mV", 0.001, 0.0),
    ("µV", "mV", 0.001, 0.0),
    ("V", "mV", 1000.0, 0.0),
    ("A", "mA", 1000.0, 0.0),
    ("kW", "W", 1000.0, 0.0),
    ("/", "%", 100.0, 0.0),
    ("1", "/", 1.0, 0.0),
    ("%", "%RH", 1.0, 0.0),
    ("/", "%RH", 100.0, 0.0),
    ("%RH", "%RH", 1.0, 0.0),
    ("m/s", "mm/min", 60_000.0, 0.0),
    ("in/min", "mm/min", 25.4, 0.0),
    ("lbf", "N", 4.4482216152605, 0.0),
    ("pulses", "count", 1.0, 0.0),
    ("kHz", "Hz", 1000.0, 0.0),
]


@pytest.mark.parametrize(("unit", "target", "factor", "offset"), EXACT)
def test_factors_are_those_of_the_definitions(
    unit: str, target: str, factor: float, offset: float
) -> None:
    assert to_unit(unit, target) == pytest.approx((factor, offset), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("quantity", Quantity)
def test_every_engineering_unit_is_known(quantity: Quantity) -> None:
    assert to_unit(quantity.facts.unit, quantity.facts.unit) == (1.0, 0.0)


@pytest.mark.parametrize(
    ("unit", "target", "message"),
    [
        ("NL/min", "L/min", 'write L/min .* reference = "DIN 1343"'),
        ("Nm3/h", "L/min", 'reference = "DIN 1343"'),
        ("slm", "L/min", 'reference = "ISO 2533"'),
        ("C", "Cel", "unknown unit 'C': write Cel, °C"),
        ("Pa", "Cel", "unit 'Pa' does not fit here: write Cel"),
        ("%RH", "%", "does not fit here: write %"),
        ("count", "/", "does not fit here: write /"),
        ("cfm", "L/min", "unknown unit 'cfm': write L/min"),
        ("", "V", "unknown unit '': write V, mV"),
        ("x" * 500, "V", r"unknown unit 'x{27}\.\.\.'"),
    ],
)
def test_refusal_names_a_remedy(unit: str, target: str, message: str) -> None:
    with pytest.raises(UnitError, match=message):
        to_unit(unit, target)
    assert not same_dimension(unit, target)


@pytest.mark.parametrize("unit", units._KINDS)
def test_factors_by_prefix_are_those_of_the_units_library(unit: str) -> None:
    kind, expression = units._KINDS[unit]
    told = 0
    for target, (other_kind, other) in units._KINDS.items():
        if kind == other_kind and expression != other:
            by_prefix = units._by_prefix(expression, other)
            if by_prefix is not None:
                assert by_prefix == units._factors(unit, expression, target, other)
                told += 1
    assert told or unit not in ("mV", "kPa", "mA", "kW", "mm", "kHz", "kN")


def test_plain_spellings_start_without_the_units_library() -> None:
    code = (
        "import sys; from steadybead_domain.conversion.units import to_unit;"
        "to_unit('Cel', 'Cel'); to_unit('l/min', 'L/min'); to_unit('kPa', 'Pa');"
        "sys.exit('pint' in sys.modules)"
    )
    path = [p for p in sys.path if p]
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path[:0] = {path!r}; {code}"],
        check=False,
        timeout=60,
    )
    assert done.returncode == 0
