"""Which correction holds for a channel when, and its use on readings and on summaries."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from steadybead_domain.calibration.correction import Correction, Mask, corrections
from steadybead_domain.calibration.model import Calibration, Fitting, in_force
from steadybead_domain.conversion.units import to_unit
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Buckets, Float64, Int64

_BEGINNING = -(2**63)


@dataclass(frozen=True, slots=True)
class Stretch:
    """From `start` µs until the next stretch: the instrument, its calibration, the correction.

    None where no instrument is on record, or none of its calibrations holds yet.
    """

    start: int
    instrument: str | None = None
    calibration: Calibration | None = None
    correction: Correction | None = None


class Corrected(NamedTuple):
    """Recalibrated values [n]; which of them a calibration covers; which lie outside its range."""

    value: Float64
    calibrated: Mask
    outside: Mask


@dataclass(frozen=True, slots=True)
class Timeline:
    """The stretches of one channel in ascending order, without gaps, from the beginning of time.

    Corrections are in the channel's engineering unit.
    """

    channel: ChannelId
    stretches: tuple[Stretch, ...]

    def at(self, time: int) -> Stretch:
        """Give the stretch that holds at a time."""
        starts = [s.start for s in self.stretches]
        return self.stretches[int(np.searchsorted(starts, time, side="right")) - 1]

    def fitted_since(self, time: int) -> int | None:
        """Tell since when the instrument of a time has been fitted; None where none is known."""
        at = self.stretches.index(self.at(time))
        instrument = self.stretches[at].instrument
        if instrument is None:
            return None
        while self.stretches[at - 1].instrument == instrument:
            at -= 1
        return self.stretches[at].start

    def edges(self, start: int, end: int) -> list[int]:
        """List the times in (start, end) at which the correction changes."""
        return [s.start for s in self.stretches if start < s.start < end]


def timeline(
    channel: ChannelId,
    unit: str,
    fittings: Iterable[Fitting],
    calibrations: Iterable[Calibration],
) -> Timeline:
    """Lay out what holds for a channel; `unit` is its engineering unit.

    `fittings` and `calibrations` may be those of all channels and instruments, in all revisions.
    Raises UnitError if a calibration's unit is of another dimension.
    """
    kept = in_force(calibrations)
    stretches = [Stretch(_BEGINNING)]
    own = sorted((f for f in fittings if f.channel == channel), key=lambda f: f.start)
    for i, fitting in enumerate(own):
        following = own[i + 1].start if i + 1 < len(own) else None
        end = _earlier(fitting.end, following)
        stretches += _of_fitting(fitting, end, unit, kept)
        if end is not None and end != following:
            stretches.append(Stretch(end))
    return Timeline(channel, tuple(stretches))


def correct(line: Timeline, time: Int64, value: Float64) -> Corrected:
    """Recalibrate readings [n]: µs in any order, values in the engineering unit."""
    result = np.array(value, np.float64)
    calibrated = np.zeros(len(result), np.bool_)
    outside = np.zeros(len(result), np.bool_)
    starts = np.array([s.start for s in line.stretches], np.int64)
    at = np.searchsorted(starts, time, side="right") - 1
    for i in np.unique(at):
        correction = line.stretches[i].correction
        if correction is not None:
            rows = at == i
            result[rows] = correction.apply(value[rows])
            outside[rows] = correction.outside(value[rows])
            calibrated |= rows
    return Corrected(result, calibrated, outside)


def correct_buckets(line: Timeline, buckets: Buckets) -> tuple[Buckets, Mask]:
    """Recalibrate summaries where that is exact; the mask [n] tells where it is.

    It is exact where one stretch covers the bucket and one straight line covers its values. The
    other buckets come back as recorded: read their raw readings instead.
    """
    low, mean, high = buckets.low.copy(), buckets.mean.copy(), buckets.high.copy()
    exact = np.ones(len(buckets), np.bool_)
    for i in range(len(buckets)):
        stretch = line.at(int(buckets.start[i]))
        if line.at(int(buckets.end[i]) - 1) is not stretch:
            exact[i] = False
        elif stretch.correction is not None and buckets.n[i]:
            scale = stretch.correction.affine(float(low[i]), float(high[i]))
            exact[i] = scale is not None
            if scale is not None:
                factor, offset = scale
                for column in (low, mean, high):
                    column[i] = factor * column[i] + offset
    return replace(buckets, low=low, mean=mean, high=high), exact


def _of_fitting(
    fitting: Fitting, end: int | None, unit: str, calibrations: list[Calibration]
) -> list[Stretch]:
    """Cut one fitting at the times at which a calibration of its instrument begins to hold."""
    current = Stretch(fitting.start, fitting.instrument)
    stretches = [current]
    for change in _changes(fitting.instrument, unit, calibrations):
        if change.start <= fitting.start:
            stretches[0] = replace(change, start=fitting.start)
        elif end is None or change.start < end:
            stretches.append(change)
    return stretches


def _changes(instrument: str, unit: str, calibrations: list[Calibration]) -> list[Stretch]:
    changes: list[Stretch] = []
    for calibration in calibrations:
        if calibration.instrument != instrument:
            continue
        as_found, as_left = (_in_unit(c, calibration, unit) for c in corrections(calibration))
        if calibration.effective < calibration.performed:
            first = as_found or as_left
            changes.append(Stretch(calibration.effective, instrument, calibration, first))
        changes.append(Stretch(calibration.performed, instrument, calibration, as_left))
    return sorted(changes, key=lambda s: s.start)


def _in_unit(
    correction: Correction | None, calibration: Calibration, unit: str
) -> Correction | None:
    if correction is None or calibration.unit == unit:
        return correction
    factor, offset = to_unit(calibration.unit, unit)
    return Correction(
        tuple(factor * x + offset for x in correction.shown),
        tuple(factor * x + offset for x in correction.true),
        factor * correction.low + offset,
        factor * correction.high + offset,
    )


def _earlier(one: int | None, other: int | None) -> int | None:
    if one is None or other is None:
        return other if one is None else one
    return min(one, other)
