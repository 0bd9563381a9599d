"""Sums of doubles without any rounding, and means that are rounded once.

A sum is a Python integer that counts 2^-1074, the smallest step of a double, so sums may be
formed in any order and of any parts and still agree to the bit.
"""

import math
from collections.abc import Sequence

import numpy as np

from steadybead_domain.readings import Float64, Int64

STEP = 1074
_LOW_BITS = 30
_LOW_MASK = (1 << _LOW_BITS) - 1
_HIGH_BITS = 26
_EXACT_BITS = 53 - _HIGH_BITS


def exact_sums(
    values: Float64, starts: Int64, bounds: tuple[float, float] | None = None
) -> list[int]:
    """Sum `values` float64 [n], finite, over the parts that begin at `starts` int64 [m].

    Part i ends where part i + 1 starts; the last one ends with the array. No part is empty.
    `bounds` are the least and the greatest of all values, where the caller knows them.
    """
    low, high = bounds or (float(values.min()), float(values.max()))
    most = max(abs(low), abs(high))
    if most == 0.0:
        return [0] * len(starts)
    top, bottom = math.frexp(most)[1], math.frexp(_least(values, low, high))[1]
    few = top - bottom + len(values).bit_length() <= _EXACT_BITS
    if not few or bottom < -900 or top > 900:
        return _sums_by_exponent(values, starts)
    return _sums_by_halves(values, starts, top, bottom)


def _sums_by_halves(values: Float64, starts: Int64, top: int, bottom: int) -> list[int]:
    """Sum the multiples of a unit next to the values, and what is left, both without rounding.

    The unit is 2^(top - 26), so a multiple has 27 bits at most; what is left counts steps of
    2^(bottom - 53) and has as many bits as 26 and the spread of exponents. Up to 2^53 there is
    room for the sum of all of them.
    """
    shift = top - _HIGH_BITS - (bottom - 53)
    unit, step = math.ldexp(1.0, top - _HIGH_BITS), math.ldexp(1.0, bottom - 53)
    shifter = 1.5 * 2.0**52 * unit  # to a number of this size only multiples of unit can be added
    part = values + shifter
    part -= shifter
    uppers = np.add.reduceat(part, starts) / unit
    np.subtract(values, part, out=part)
    lowers = np.add.reduceat(part, starts) / step
    whole = zip(uppers.astype(np.int64).tolist(), lowers.astype(np.int64).tolist(), strict=True)
    return [(upper << shift) + lower << STEP + bottom - 53 for upper, lower in whole]


def _least(values: Float64, low: float, high: float) -> float:
    """Give the least absolute value that is not zero."""
    if low > 0.0:
        return low
    if high < 0.0:
        return -high
    return float(np.abs(values[values != 0.0]).min())


def _sums_by_exponent(values: Float64, starts: Int64) -> list[int]:
    """Sum the general case: mantissas of equal exponent add up as integers."""
    fraction, exponent = np.frexp(values)
    mantissa = np.ldexp(fraction, 53).astype(np.int64)
    sums = [0] * len(starts)
    for power in np.unique(exponent).tolist():
        chosen = np.where(exponent == power, mantissa, 0)
        upper = np.add.reduceat(chosen >> _LOW_BITS, starts)
        lower = np.add.reduceat(chosen & _LOW_MASK, starts)
        shift = STEP + power - 53
        for i, (u, w) in enumerate(zip(upper.tolist(), lower.tolist(), strict=True)):
            part = (int(u) << _LOW_BITS) + int(w)
            sums[i] += part << shift if shift >= 0 else part >> -shift
    return sums


def exact_mean(total: int, n: int) -> float:
    """Give total · 2^-1074 / n, rounded once to the nearest double; NaN where n is 0."""
    return total / (n << STEP) if n else math.nan


def write_total(total: int) -> bytes:
    """Write a sum short: int16 e, then m as signed bytes, both little-endian; sum = m · 2^e."""
    if total == 0:
        return b"\x00\x00\x00"
    zeros = (total & -total).bit_length() - 1
    odd = total >> zeros
    return (zeros - STEP).to_bytes(2, "little", signed=True) + odd.to_bytes(
        odd.bit_length() // 8 + 1, "little", signed=True
    )


def read_total(data: bytes) -> int:
    """Read what `write_total` wrote."""
    shift = int.from_bytes(data[:2], "little", signed=True) + STEP
    return int.from_bytes(data[2:], "little", signed=True) << shift


def read_totals(data: Sequence[bytes]) -> int:
    """Read many and add them up; those of one e, as most are, add up as small numbers."""
    sums: dict[bytes, int] = {}
    for one in data:
        power = one[:2]
        sums[power] = sums.get(power, 0) + int.from_bytes(one[2:], "little", signed=True)
    return sum(
        mantissa << int.from_bytes(power, "little", signed=True) + STEP
        for power, mantissa in sums.items()
    )
