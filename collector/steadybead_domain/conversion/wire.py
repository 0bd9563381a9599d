"""What comes in for one channel, and the marks that conversion leaves on it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from steadybead_domain.readings import Float64, Int64, Quality, Reason, UInt8

Mask = npt.NDArray[np.bool_]
_FEW = 16


def lies_within(value: Float64 | Int64, low: float, high: float) -> bool:
    """Tell whether all of [n] lie in low..high; NaN does not. Few are faster one by one."""
    if len(value) <= _FEW:
        return all(low <= v <= high for v in value.tolist())
    return float(value.min()) >= low and float(value.max()) <= high


@dataclass(frozen=True, slots=True, eq=False)
class WireColumns:
    """n readings of one channel as they arrived, in order of arrival.

    `time` int64 [n] µs; `wire` float64 [n], finite, in the channel's wire unit; `quality`,
    `reason` uint8 [n] from decoding; `pack` int64 [n], the pack each came in, ascending. Packs
    number upwards in order of arrival over all channels of one call and are never split over
    calls.
    """

    time: Int64
    wire: Float64
    quality: UInt8
    reason: UInt8
    pack: Int64

    def __len__(self) -> int:
        """Count the readings."""
        return len(self.time)


class Marks:
    """Values [n] with the quality and reason to store; the incoming arrays stay as they were.

    `value` belongs to this object alone. `lost` [n] tells where no value is left, None: nowhere.
    """

    __slots__ = ("_copied", "lost", "quality", "reason", "value")

    def __init__(self, value: Float64, quality: UInt8, reason: UInt8) -> None:
        self.value, self.quality, self.reason = value, quality, reason
        self.lost: Mask | None = None
        self._copied = False

    def worsen(self, where: Mask, quality: Quality, reason: Reason) -> None:
        """Set the quality where the mask is true and the incoming one is better."""
        self._write(where & (self.quality < quality), quality, reason)

    def lose(self, where: Mask, reason: Reason) -> None:
        """Set bad and no value (0.0) where the mask is true, whatever the incoming quality."""
        self._write(where, Quality.BAD, reason)
        self.value[where] = 0.0
        self.lost = where if self.lost is None else self.lost | where

    def _write(self, where: Mask, quality: Quality, reason: Reason) -> None:
        if not where.any():
            return
        if not self._copied:
            self.quality, self.reason = self.quality.copy(), self.reason.copy()
            self._copied = True
        self.quality[where] = quality
        self.reason[where] = reason
