"""Laws of the simulator's helpers over all inputs."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from steadybead_simulator.faults import KINDS, Fault
from steadybead_simulator.randomness import lowpass, stream
from steadybead_simulator.spans import Spans
from steadybead_simulator.units import BadSizeError, convert, size_of

FINITE = st.floats(-1e6, 1e6)
SERIES = hnp.arrays(np.float64, st.integers(0, 400), elements=FINITE)


@given(SERIES, st.floats(0.0, 0.9999), FINITE)
def test_lowpass_equals_the_loop(x: np.ndarray, keep: float, before: float) -> None:
    y, expected = before, []
    for value in x.tolist():
        y = keep * y + (1.0 - keep) * value
        expected.append(y)
    assert lowpass(x, keep, before) == pytest.approx(expected, rel=1e-9, abs=1e-6)


@given(st.integers(0, 2**63 - 1), st.text(min_size=1, max_size=8))
def test_a_stream_is_named_by_seed_and_names(seed: int, name: str) -> None:
    one, same = stream(seed, name, 3).random(4), stream(seed, name, 3).random(4)
    other = stream(seed, name, 4).random(4)
    assert one.tolist() == same.tolist()
    assert one.tolist() != other.tolist()


@given(FINITE)
def test_conversions_round_trip(value: float) -> None:
    for one, other in (("Cel", "K"), ("Cel", "[degF]"), ("L/min", "m3/s"), ("Pa", "mbar")):
        there = convert(np.array([value]), one, other)
        assert convert(there, other, one)[0] == pytest.approx(value, rel=1e-9, abs=1e-6)


def test_conversion_of_known_points() -> None:
    """Fixed points of the scales, and 1 m³/h = 16.667 L/min."""
    assert convert(np.array([100.0]), "Cel", "[degF]")[0] == pytest.approx(212.0)
    assert convert(np.array([0.0]), "Cel", "K")[0] == pytest.approx(273.15)
    assert convert(np.array([1.0]), "m3/h", "L/min")[0] == pytest.approx(1000 / 60)


@given(st.floats(0.0, 1e5), st.sampled_from(["s", "min", "h", "d"]))
def test_a_written_size_is_read_back(number: float, unit: str) -> None:
    factor = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}[unit]
    assert size_of(f"{number!r} {unit}", "time") == pytest.approx(number * factor)


@given(st.text(max_size=20))
def test_any_text_is_a_size_or_a_clear_refusal(text: str) -> None:
    try:
        size = size_of(text, "difference")
    except BadSizeError as error:
        size, message = 0.0, str(error)
    else:
        message = "write it as"
    assert np.isfinite(size)
    assert "write it as" in message or "wanted" in message


@given(st.lists(st.tuples(st.floats(0, 1e4), st.floats(0, 1e3)), max_size=20))
def test_spans_tell_the_same_as_their_pairs(raw: list[tuple[float, float]]) -> None:
    spans = Spans()
    for start, length in sorted(raw):
        spans.add(start, start + length)
    t = np.linspace(0.0, 11_000.0, 500)
    expected = [any(a <= x < a + b for a, b in raw) for x in t.tolist()]
    assert spans.at(t).tolist() == expected
    assert all(a < b for a, b in spans.pairs)
    assert all(x[1] < y[0] for x, y in zip(spans.pairs, spans.pairs[1:], strict=False))


@given(st.floats(0, 1e4), st.floats(0.1, 1e4), st.floats(0, 1e4), st.floats(-100, 100))
def test_a_fault_grows_to_its_size_and_is_nowhere_else(
    start: float, lasts: float, over: float, size: float
) -> None:
    fault = Fault(
        "f", KINDS["thermocouple_offset"], "s", None, "c", start, start + lasts, size, over
    )
    t = np.linspace(0.0, 2.5e4, 700)
    amount = fault.amount(t)
    assert np.all(np.abs(amount) <= abs(size) * (1 + 1e-12))
    assert not amount[(t < start) | (t >= start + lasts)].any()
    grown = (t >= start + over) & (t < start + lasts)
    assert np.all(amount[grown] == pytest.approx(size))
