"""Thermocouples: emf from temperature and back, by the ITS-90 reference functions.

`emf_mv` evaluates the reference function itself. `temperature_c` reads a table of its inverse:
equal steps of emf, each entry found by the published inverse polynomial and refined by Newton
steps until it agrees with the reference function to rounding; between entries it is linear,
which adds less than 0.05 mK over the whole range of every type.
"""

from functools import cache
from typing import Final

import numpy as np

from steadybead_domain.conversion.nist175 import REFERENCE_FUNCTIONS, Piece, ReferenceFunction
from steadybead_domain.conversion.wire import lies_within
from steadybead_domain.readings import Float64

TYPES: Final = tuple(REFERENCE_FUNCTIONS)
_STEPS = 2**16
_NEWTON_STEPS = 2
_BLOCK = 2**14
_BEYOND_K = 1.0
JUNCTION_RANGE_C: Final = (-50.0, 150.0)


class _Table:
    """A function on equal steps of its argument, linear between them, NaN outside."""

    __slots__ = ("_base", "_per_unit", "_slope", "high", "low")

    def __init__(self, low: float, high: float, value: Float64) -> None:
        argument = np.linspace(low, high, len(value))
        self.low, self.high = low, high
        self._per_unit = (len(value) - 1) / (high - low)
        self._slope = np.diff(value) / np.diff(argument)
        self._base = value[:-1] - self._slope * argument[:-1]

    def __call__(self, x: Float64) -> Float64:
        """Read the table; shape [n] in, shape [n] out."""
        if lies_within(x, self.low, self.high):
            return self._read_in_blocks(x)
        inside = (x >= self.low) & (x <= self.high)
        return np.where(inside, self._read(np.where(inside, x, self.low)), np.nan)

    def _read_in_blocks(self, x: Float64) -> Float64:
        """Keep each block in the processor's cache."""
        if len(x) <= _BLOCK:
            return self._read(x)
        result = np.empty_like(x)
        for start in range(0, len(x), _BLOCK):
            result[start : start + _BLOCK] = self._read(x[start : start + _BLOCK])
        return result

    def _read(self, x: Float64) -> Float64:
        step = ((x - self.low) * self._per_unit).astype(np.intp)
        result = self._slope.take(step, mode="clip")
        result *= x
        result += self._base.take(step, mode="clip")
        return result


def emf_mv(letter: str, t_c: Float64) -> Float64:
    """Give the emf in mV against 0 °C at temperatures °C [n]; NaN outside the function's range."""
    return _within(letter, t_c, derivative=False)


def seebeck_mv_k(letter: str, t_c: Float64) -> Float64:
    """Give the Seebeck coefficient in mV/K at temperatures °C [n]; NaN outside the range."""
    return _within(letter, t_c, derivative=True)


def temperature_c(letter: str, mv: Float64) -> Float64:
    """Give °C for emf in mV against 0 °C, both [n]; NaN outside `emf_range_mv`."""
    return _inverse(letter)(mv)


def hot_junction_c(letter: str, mv: Float64, cold_junction_c: Float64) -> tuple[Float64, Float64]:
    """Give (°C of the hot junction, emf in mV against 0 °C) of a measured mV; all [n].

    The cold junction is added as emf, not as temperature. NaN where it lies outside -50..150 °C
    or the type's range, or where the sum lies outside `emf_range_mv`.
    """
    total_mv = mv + _junction(letter)(cold_junction_c)
    return _inverse(letter)(total_mv), total_mv


def emf_range_mv(letter: str) -> tuple[float, float]:
    """Give the emf range, mV against 0 °C, on which an inverse is published."""
    pieces = _function(letter).inverse
    return pieces[0].low, pieces[-1].high


def temperature_range_c(letter: str) -> tuple[float, float]:
    """Give the lowest and highest °C that `temperature_c` can answer."""
    inverse = _inverse(letter)
    ends = inverse(np.array(emf_range_mv(letter)))
    return float(ends[0]), float(ends[1])


def _function(letter: str) -> ReferenceFunction:
    try:
        return REFERENCE_FUNCTIONS[letter]
    except KeyError:
        known = ", ".join(TYPES)
        raise ValueError(f"thermocouple type {letter[:20]!r}: write one of {known}") from None


@cache
def _inverse(letter: str) -> _Table:
    """Tabulate °C over mV."""
    function = _function(letter)
    low_mv, high_mv = emf_range_mv(letter)
    mv = np.linspace(low_mv, high_mv, _STEPS + 1)
    t_c = np.empty_like(mv)
    for piece in function.inverse:
        inside = (mv >= piece.low) & (mv <= piece.high)
        t_c[inside] = _polynomial(piece.coefficients, mv[inside])
    for _ in range(_NEWTON_STEPS):
        error_mv = _by_piece(function, t_c, derivative=False) - mv
        t_c -= error_mv / _by_piece(function, t_c, derivative=True)
    return _Table(low_mv, high_mv, t_c)


@cache
def _junction(letter: str) -> _Table:
    """Tabulate mV over the °C that a cold junction can have."""
    low_c = max(JUNCTION_RANGE_C[0], _function(letter).forward[0].low)
    high_c = JUNCTION_RANGE_C[1]
    return _Table(low_c, high_c, emf_mv(letter, np.linspace(low_c, high_c, _STEPS // 4 + 1)))


def _within(letter: str, t_c: Float64, *, derivative: bool) -> Float64:
    function, t_c = _function(letter), np.asarray(t_c, np.float64)
    inside = (t_c >= function.forward[0].low) & (t_c <= function.forward[-1].high)
    return np.where(inside, _by_piece(function, t_c, derivative=derivative), np.nan)


def _by_piece(function: ReferenceFunction, t_c: Float64, *, derivative: bool) -> Float64:
    """Evaluate; the outer pieces reach a degree further, for the rounded ends of the inverse."""
    result = np.full(t_c.shape, np.nan)
    first, last = function.forward[0], function.forward[-1]
    for piece in function.forward:
        low = piece.low - _BEYOND_K if piece is first else piece.low
        high = piece.high + _BEYOND_K if piece is last else piece.high
        inside = (t_c >= low) & (t_c <= high)
        if inside.any():
            result[inside] = _evaluate(function, piece, t_c[inside], derivative=derivative)
    return result


def _evaluate(
    function: ReferenceFunction, piece: Piece, t_c: Float64, *, derivative: bool
) -> Float64:
    coefficients = piece.coefficients
    if derivative:
        coefficients = tuple(i * c for i, c in enumerate(coefficients) if i)
    result = _polynomial(coefficients, t_c)
    if function.exponential is not None and piece.low >= 0.0:
        a0, a1, a2 = function.exponential
        bell = a0 * np.exp(a1 * (t_c - a2) ** 2)
        result += bell * (2.0 * a1 * (t_c - a2)) if derivative else bell
    return result


def _polynomial(coefficients: tuple[float, ...], x: Float64) -> Float64:
    """Evaluate by Horner's rule, lowest power first; x [n]."""
    result = np.full(x.shape, coefficients[-1])
    for c in reversed(coefficients[:-1]):
        result *= x
        result += c
    return result
