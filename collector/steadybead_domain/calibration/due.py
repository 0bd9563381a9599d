"""When an instrument's calibration runs out, and whether it failed as found."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from steadybead_domain.calibration.model import Calibration, Instrument, in_force
from steadybead_domain.conversion.units import to_unit
from steadybead_domain.times import DAY

SOON_US: Final = 14 * DAY  # project assumption, editable


class CalibrationState(StrEnum):
    """The states that ILAC-G24 practice tells apart, from memory."""

    VALID = "valid"
    DUE_SOON = "due soon"
    OVERDUE = "overdue"
    NEVER_CALIBRATED = "never calibrated"


@dataclass(frozen=True, slots=True)
class Due:
    """The state of one instrument now; `due` is µs, None where no date is set.

    `failed_as_found`: the newest calibration found it beyond its tolerance, so that what it
    showed before is in doubt.
    """

    instrument: str
    state: CalibrationState
    due: int | None
    calibration: Calibration | None
    failed_as_found: bool


def due(
    instrument: Instrument, calibrations: Iterable[Calibration], now: int, soon_us: int = SOON_US
) -> Due:
    """Judge an instrument at `now`, from all calibrations known."""
    own = [c for c in in_force(calibrations) if c.instrument == instrument.id]
    if not own:
        return Due(instrument.id, CalibrationState.NEVER_CALIBRATED, None, None, False)
    newest = own[-1]
    when = newest.due
    if when is None and instrument.interval_days is not None:
        when = newest.performed + instrument.interval_days * DAY
    return Due(
        instrument.id, _state(when, now, soon_us), when, newest, is_failed(newest, instrument)
    )


def is_failed(calibration: Calibration, instrument: Instrument) -> bool:
    """Tell whether the as-found error was beyond the instrument's tolerance."""
    error = error_found(calibration, instrument.unit)
    return error is not None and abs(error) > instrument.tolerance


def error_found(calibration: Calibration, unit: str) -> float | None:
    """Give the as-found error of largest size in another unit of the same dimension."""
    error = calibration.largest_error_found
    return None if error is None else error * to_unit(calibration.unit, unit)[0]


def _state(when: int | None, now: int, soon_us: int) -> CalibrationState:
    if when is None or now < when - soon_us:
        return CalibrationState.VALID
    return CalibrationState.DUE_SOON if now < when else CalibrationState.OVERDUE
