"""The correction that calibration points give: from shown value to true value, inside a range."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from steadybead_domain.calibration.model import Calibration, CorrectionKind
from steadybead_domain.readings import Float64

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Correction:
    """Straight lines between points, shown to true, both strictly rising.

    It holds for shown values in the closed range `low`..`high`. Outside, the correction of the
    nearest end is kept, and `outside` says so: nothing is extrapolated.
    """

    shown: tuple[float, ...]
    true: tuple[float, ...]
    low: float
    high: float

    def apply(self, value: Float64) -> Float64:
        """Give true values for shown ones, both [n]."""
        shown, true = np.array(self.shown), np.array(self.true)
        return np.asarray(value + np.interp(value, shown, true - shown))

    def outside(self, value: Float64) -> Mask:
        """Tell which of the shown values [n] lie outside the range."""
        return np.asarray((value < self.low) | (value > self.high))

    def affine(self, low: float, high: float) -> tuple[float, float] | None:
        """Give (factor, offset) if one straight line holds on low..high, else None."""
        if low < self.low or high > self.high:
            return None
        if len(self.shown) == 1:
            return 1.0, self.true[0] - self.shown[0]
        i = min(max(int(np.searchsorted(self.shown, low, side="right")), 1), len(self.shown) - 1)
        if high > self.shown[i]:
            return None
        rise = self.true[i] - self.true[i - 1]
        factor = rise / (self.shown[i] - self.shown[i - 1])
        return factor, self.true[i] - factor * self.shown[i]


def corrections(calibration: Calibration) -> tuple[Correction | None, Correction]:
    """Give the as-found and the as-left correction of a calibration free of problems.

    Unit and scale are the calibration's. The first is None where nothing was looked at.
    """
    points = calibration.points
    true = [p.reference for p in points]
    found = [p.as_found for p in points if p.as_found is not None]
    left = [p.left for p in points if p.left is not None]
    as_found = _correction(calibration, found, true) if len(found) == len(points) else None
    return as_found, _correction(calibration, left, true)


def _correction(
    calibration: Calibration, shown: Sequence[float], true: Sequence[float]
) -> Correction:
    low, high = shown[0], shown[-1]
    if calibration.kind is CorrectionKind.OFFSET:
        low = low if calibration.valid_low is None else calibration.valid_low
        high = high if calibration.valid_high is None else calibration.valid_high
    return Correction(tuple(shown), tuple(true), low, high)
