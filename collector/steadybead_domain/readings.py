"""Readings in columns: times, values, raw samples, quality and its reason."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Self

import numpy as np
import numpy.typing as npt

from steadybead_domain.ids import ChannelId

Int64 = npt.NDArray[np.int64]
Float64 = npt.NDArray[np.float64]
UInt8 = npt.NDArray[np.uint8]
UInt32 = npt.NDArray[np.uint32]


class Quality(IntEnum):
    """How far a reading may be trusted. The numbers are stored: never reuse one."""

    GOOD = 0
    UNCERTAIN = 1
    BAD = 2

    @property
    def word(self) -> str:
        """Give the word that the API and the pages show."""
        return self.name.lower()


class Reason(IntEnum):
    """Why a reading is not good. The numbers are stored: never reuse one."""

    NONE = 0
    TIME_OF_RECEIPT = 1
    CLOCK = 2
    OPEN_CIRCUIT = 3
    OUT_OF_PHYSICAL_RANGE = 4
    COLD_JUNCTION_MISSING = 5
    LOOP_FAULT = 6
    COUNTER_RESTART = 7
    DEFAULT_CONDITIONS = 8

    @property
    def text(self) -> str:
        """Give the words that the API and the pages show; empty for NONE."""
        return "" if self is Reason.NONE else self.name.lower().replace("_", " ")

    @property
    def has_value(self) -> bool:
        """Tell whether a bad reading with this reason still has an engineering value."""
        return self not in _WITHOUT_VALUE


_WITHOUT_VALUE = frozenset(
    {Reason.OPEN_CIRCUIT, Reason.COLD_JUNCTION_MISSING, Reason.LOOP_FAULT, Reason.COUNTER_RESTART}
)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading; `value` is None where no engineering value can be given."""

    time: int
    value: float | None
    raw: float
    quality: Quality
    reason: Reason
    plant: int


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """n readings of one channel, in ascending time unless said otherwise.

    `time` int64 [n] µs; `value` float64 [n] in the channel's engineering unit, finite (0.0 where
    the reason leaves no value); `raw` float64 [n] as it came, finite; `quality`, `reason`
    uint8 [n]; `plant` uint32 [n], the plant-file version under which the reading was converted.
    """

    time: Int64
    value: Float64
    raw: Float64
    quality: UInt8
    reason: UInt8
    plant: UInt32

    def __len__(self) -> int:
        """Count the readings."""
        return len(self.time)

    @classmethod
    def empty(cls) -> Self:
        """Give columns with no reading."""
        return cls.of([])

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> Self:
        """Build columns from single readings, in the order given."""
        rows = list(readings)
        return cls(
            np.array([r.time for r in rows], np.int64),
            np.array([0.0 if r.value is None else r.value for r in rows], np.float64),
            np.array([r.raw for r in rows], np.float64),
            np.array([r.quality for r in rows], np.uint8),
            np.array([r.reason for r in rows], np.uint8),
            np.array([r.plant for r in rows], np.uint32),
        )

    def take(self, index: npt.NDArray[np.intp] | npt.NDArray[np.bool_] | slice) -> "Columns":
        """Pick rows by index array, mask or slice."""
        return Columns(
            self.time[index],
            self.value[index],
            self.raw[index],
            self.quality[index],
            self.reason[index],
            self.plant[index],
        )

    def row(self, i: int) -> Reading:
        """Give row i as a single reading."""
        reason = Reason(int(self.reason[i]))
        quality = Quality(int(self.quality[i]))
        has_value = quality is not Quality.BAD or reason.has_value
        return Reading(
            int(self.time[i]),
            float(self.value[i]) if has_value else None,
            float(self.raw[i]),
            quality,
            reason,
            int(self.plant[i]),
        )

    @staticmethod
    def concat(parts: "Iterable[Columns]") -> "Columns":
        """Join columns end to end, in the order given."""
        rows = list(parts)
        if not rows:
            return Columns.empty()
        if len(rows) == 1:
            return rows[0]
        return Columns(
            np.concatenate([p.time for p in rows]),
            np.concatenate([p.value for p in rows]),
            np.concatenate([p.raw for p in rows]),
            np.concatenate([p.quality for p in rows]),
            np.concatenate([p.reason for p in rows]),
            np.concatenate([p.plant for p in rows]),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """What one commit brings: columns by channel, and the time of receipt in µs.

    Within one channel the rows may come in any order and repeat.
    """

    received: int
    columns: Mapping[ChannelId, Columns]

    def __len__(self) -> int:
        """Count the readings of all channels."""
        return sum(len(c) for c in self.columns.values())


@dataclass(frozen=True, slots=True, eq=False)
class Buckets:
    """n aligned buckets [start, end) of one channel; empty buckets are left out.

    `start`, `end` int64 [n] µs; `n` int64 [n] readings with a value that are not bad; `low`,
    `mean`, `high` float64 [n] over those, NaN where there is none; `quality` uint8 [n], the worst
    quality in the bucket.
    """

    start: Int64
    end: Int64
    n: Int64
    low: Float64
    mean: Float64
    high: Float64
    quality: UInt8

    def __len__(self) -> int:
        """Count the buckets."""
        return len(self.start)
