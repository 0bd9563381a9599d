"""How far back a sensor error may reach: to the last check that was able to reveal it."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from steadybead_domain.calibration.due import error_found
from steadybead_domain.calibration.model import Calibration, Fitting, Instrument, in_force
from steadybead_domain.calibration.reference_check import ReferenceCheck, checks_in_force
from steadybead_domain.conversion.units import to_unit
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Float64, Int64
from steadybead_domain.welds import Weld


class Growth(StrEnum):
    """How the error is thought to have come about between the last good check and the find."""

    LINEAR = "linear"
    FULL = "full"


@dataclass(frozen=True, slots=True)
class Witness:
    """A calibration or reference check that looked at the error at a time, in the same unit."""

    id: str
    time: int
    deviation: float
    expanded: float


@dataclass(frozen=True, slots=True)
class Span:
    """The stretch in doubt, [start, end) µs, and the error found at its end.

    `good` is the witness at its start; None: nobody ever looked, it reaches back to `start`.
    """

    start: int
    end: int
    error: float
    good: Witness | None


def can_reveal(witness: Witness, error: float) -> bool:
    """Tell whether a witness shows that the error was not there yet.

    Its deviation with its expanded uncertainty stays below the error: |d| + U < |error|.
    """
    return abs(witness.deviation) + witness.expanded < abs(error)


def span_in_doubt(error: float, found: int, witnesses: Iterable[Witness], earliest: int) -> Span:
    """Reach back from the find to the newest witness that excludes the error, or `earliest`."""
    able = [w for w in witnesses if earliest <= w.time < found and can_reveal(w, error)]
    good = max(able, key=lambda w: w.time, default=None)
    return Span(earliest if good is None else good.time, found, error, good)


def calibration_witnesses(
    calibrations: Iterable[Calibration], instrument: Instrument
) -> list[Witness]:
    """Turn calibrations of an instrument into witnesses, in the instrument's unit.

    Each bears witness to the state in which it left the instrument.
    """
    witnesses = []
    for calibration in in_force(calibrations):
        if calibration.instrument == instrument.id:
            factor = to_unit(calibration.unit, instrument.unit)[0]
            expanded = factor * calibration.expanded_uncertainty
            witnesses.append(Witness(calibration.id, calibration.performed, 0.0, expanded))
    return witnesses


def check_witnesses(checks: Iterable[ReferenceCheck], channel: ChannelId) -> list[Witness]:
    """Turn reference checks of a channel into witnesses.

    Their deviation counts against the first one: a fixed offset by position is no drift.
    """
    own = [c for c in checks_in_force(checks) if c.channel == channel]
    first: dict[str, float] = {}
    witnesses = []
    for check in own:
        usual = first.setdefault(check.nozzle, check.deviation)
        deviation = check.deviation - usual
        witnesses.append(Witness(check.id, check.time, deviation, check.expanded_uncertainty))
    return witnesses


def doubted_by_calibration(
    calibration: Calibration,
    instrument: Instrument,
    fitting: Fitting,
    witnesses: Iterable[Witness],
) -> Span | None:
    """Give the stretch that a failed as-found calibration puts in doubt; None if it passed."""
    error = error_found(calibration, instrument.unit)
    if error is None or abs(error) <= instrument.tolerance:
        return None
    end = calibration.performed if fitting.end is None else min(fitting.end, calibration.performed)
    return span_in_doubt(error, end, witnesses, fitting.start)


def doubted_by_check(
    check: ReferenceCheck,
    checks: Iterable[ReferenceCheck],
    tolerance: float,
    witnesses: Iterable[Witness],
    earliest: int,
) -> Span | None:
    """Give the stretch that a failed reference check puts in doubt; None if it passed.

    `checks` may be all; the check counts against the first one on its nozzle, since a fixed
    offset by position is no drift. It fails beyond `tolerance`, in the channel's unit. Raises
    ValueError where there is no earlier check on the nozzle to hold it to.
    """
    same = [c for c in checks_in_force(checks) if c.channel == check.channel]
    own = [c for c in same if c.nozzle == check.nozzle]
    if not own or own[0].id == check.id:
        raise ValueError(f"check {check.id} is the first one on nozzle {check.nozzle}")
    error = check.deviation - own[0].deviation
    if abs(error) <= tolerance:
        return None
    return span_in_doubt(error, check.time, witnesses, earliest)


def error_at(span: Span, time: Int64, growth: Growth) -> Float64:
    """Give the error thought to be in readings at times [n] µs; 0 outside the span.

    Linear: from the deviation of the good witness up to the error found. Full: the whole error
    over the whole span, the worst case.
    """
    inside = (time >= span.start) & (time < span.end)
    if growth is Growth.FULL:
        return np.where(inside, span.error, 0.0)
    before = 0.0 if span.good is None else span.good.deviation
    share = (time - span.start) / max(span.end - span.start, 1)
    return np.where(inside, before + (span.error - before) * share, 0.0)


def welds_touched(span: Span, channel: ChannelId, welds: Iterable[Weld]) -> list[Weld]:
    """List the welds that a span in doubt of a channel touches, by their start.

    A channel of a gun touches that gun's welds, one of the air source those of all guns.
    """
    return sorted(
        (
            w
            for w in welds
            if w.station == channel.station_id
            and channel.gun in (None, w.gun)
            and w.start < span.end
            and (w.stop is None or w.stop > span.start)
        ),
        key=lambda w: (w.start, w.id),
    )
