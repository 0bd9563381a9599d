"""Readings put on a fixed time grid, so that all channels of a station can be compared."""

import math
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.steps import Bool, hold
from steadybead_domain.plant import Channel
from steadybead_domain.readings import Columns, Float64, Int64, Quality, Reason, UInt8
from steadybead_domain.times import SECOND

STEP = SECOND // 2
NEVER = -(2**62)
_BAD, _NONE = int(Quality.BAD), int(Reason.NONE)


def steps_of(seconds: float) -> int:
    """Give the number of grid steps that cover the seconds, at least one."""
    return max(1, -int(-seconds * SECOND // STEP))


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One channel over n grid steps.

    `value` float64 [n], NaN where nothing usable is known: the mean of the step's usable
    readings, else the last value, up to the channel's silence limit. `fresh` bool [n]: the step
    has usable readings of its own. `heard` int64 [n]: time of the newest reading of any quality,
    NEVER if there is none. `reason` uint8 [n]: why the sensor gives no usable value, 0 if it does.
    """

    value: Float64
    fresh: Bool
    heard: Int64
    reason: UInt8


@dataclass(slots=True)
class ChannelGrid:
    """Collects the readings of one channel and gives them back as a trace, block by block."""

    channel: Channel
    waiting: list[Columns] = field(default_factory=list)
    value: float = float("nan")
    heard: int = NEVER
    valued: int = NEVER
    reason: int = 0
    late: int = 0

    def push(self, columns: Columns, first_step: int | None) -> None:
        """Take readings in ascending time; those of steps already given are late: only counted."""
        if first_step is not None and columns.time[0] < first_step * STEP:
            begin = int(np.searchsorted(columns.time, first_step * STEP, "left"))
            self.late += begin
            columns = columns.take(slice(begin, None))
        if len(columns):
            self.waiting.append(columns)

    def earliest(self) -> int | None:
        """Give the time of the oldest waiting reading."""
        return min((int(c.time[0]) for c in self.waiting), default=None)

    def trace(self, start: int, n: int) -> Trace:
        """Give the steps start … start+n-1 and forget their readings."""
        if n == 1:
            return self._single((start + 1) * STEP)
        rows = self._taken((start + n) * STEP)
        cell = rows.time // STEP - start
        usable = rows.quality != Quality.BAD
        count = np.bincount(cell[usable], minlength=n)
        total = np.bincount(cell[usable], weights=rows.value[usable], minlength=n)
        fresh = count > 0
        heard = np.full(n, NEVER, np.int64)
        heard[cell] = rows.time
        any_reading = heard != NEVER
        reason = np.zeros(n, np.uint8)
        reason[cell[~usable]] = rows.reason[~usable]
        reason[fresh] = Reason.NONE
        end = np.arange(start + 1, start + n + 1) * STEP
        valued = hold(end, fresh, self.valued)
        heard = hold(heard, any_reading, self.heard)
        reason = hold(reason, any_reading, self.reason)
        value = hold(np.divide(total, count, where=fresh, out=np.zeros(n)), fresh, self.value)
        self.value, self.valued = float(value[-1]), int(valued[-1])
        self.heard, self.reason = int(heard[-1]), int(reason[-1])
        stale = end - valued > round(self.channel.silence_s * SECOND)
        return Trace(np.where(stale | (reason != 0), np.nan, value), fresh, heard, reason)

    def _single(self, end: int) -> Trace:
        """Give the one step that ends then: as `trace` does, without columns, as a live shop needs.

        A column of one costs as much as a column of a thousand.
        """
        count, total, broken = 0, 0.0, _NONE
        rows = self._rows_before(end)
        for _, value, quality, reason in rows:
            if quality == _BAD:
                broken = reason
            else:
                count, total = count + 1, total + value
        if rows:
            self.heard, self.reason = rows[-1][0], _NONE if count else broken
        if count:
            self.value, self.valued = total / count, end
        stale = end - self.valued > round(self.channel.silence_s * SECOND)
        return Trace(
            np.array([math.nan if stale or self.reason else self.value]),
            np.array([count > 0]),
            np.array([self.heard], np.int64),
            np.array([self.reason], np.uint8),
        )

    def _rows_before(self, end: int) -> list[tuple[int, float, int, int]]:
        """Take the waiting readings before a time: time, value, quality, reason; ascending."""
        rows: list[tuple[int, float, int, int]] = []
        kept: list[Columns] = []
        for columns in self.waiting:
            cut = (
                int(np.searchsorted(columns.time, end, "left")) if columns.time[-1] >= end else None
            )
            if cut != 0:
                parts = (columns.time, columns.value, columns.quality, columns.reason)
                rows += zip(*(part[:cut].tolist() for part in parts), strict=True)
            if cut is not None:
                kept.append(columns.take(slice(cut, None)) if cut else columns)
        self.waiting = kept
        rows.sort(key=itemgetter(0))
        return rows

    def _taken(self, end: int) -> Columns:
        rows = Columns.concat(self.waiting)
        if len(self.waiting) > 1 and np.any(np.diff(rows.time) < 0):
            rows = rows.take(np.argsort(rows.time, kind="stable"))
        cut = int(np.searchsorted(rows.time, end, "left"))
        self.waiting = [rows.take(slice(cut, None))] if cut < len(rows) else []
        return rows.take(slice(0, cut))

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON, the waiting readings with it."""
        rows = Columns.concat(self.waiting)
        return {
            "value": None if np.isnan(self.value) else self.value,
            "heard": self.heard,
            "valued": self.valued,
            "reason": self.reason,
            "late": self.late,
            "time": rows.time.tolist(),
            "values": rows.value.tolist(),
            "quality": rows.quality.tolist(),
            "reasons": rows.reason.tolist(),
        }

    def load(self, data: dict[str, Any]) -> None:
        """Take up what `dump` gave; the raw samples of waiting readings are not kept."""
        value = data["value"]
        self.value = float("nan") if value is None else float(value)
        self.heard, self.valued = int(data["heard"]), int(data["valued"])
        self.reason, self.late = int(data["reason"]), int(data["late"])
        n = len(data["time"])
        columns = Columns(
            np.array(data["time"], np.int64),
            np.array(data["values"], np.float64),
            np.zeros(n),
            np.array(data["quality"], np.uint8),
            np.array(data["reasons"], np.uint8),
            np.zeros(n, np.uint32),
        )
        self.waiting = [columns] if n else []
