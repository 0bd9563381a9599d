"""Named streams of random numbers: the same seed and the same names give the same stream."""

import zlib

import numpy as np

from steadybead_domain.readings import Float64


def stream(seed: int, *names: str | int) -> np.random.Generator:
    """Give the generator that belongs to `seed` and `names`; whole numbers must not be negative."""
    words = [zlib.crc32(n.encode()) if isinstance(n, str) else n for n in names]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *words])))


def lowpass(x: Float64, keep: float, before: float) -> Float64:
    """Run y[i] = keep · y[i-1] + (1 - keep) · x[i] with y[-1] = before, over x [n], 0 ≤ keep < 1.

    A scan by doubling: log2(n) array operations and no loop over samples.
    """
    if len(x) == 0:
        return x
    y = (1.0 - keep) * x
    y[0] += keep * before
    step, weight = 1, keep
    while step < len(y) and weight > 1e-18:
        shifted = np.zeros_like(y)
        shifted[step:] = y[:-step]
        y = y + weight * shifted
        step, weight = 2 * step, weight * weight
    return y


def wander(rng: np.random.Generator, n: int, keep: float, before: float) -> Float64:
    """Give n steps of a stationary AR(1) walk of unit variance that goes on from `before`."""
    gain = float(np.sqrt(1.0 - keep * keep)) / (1.0 - keep)
    return lowpass(gain * rng.standard_normal(n), keep, before)
