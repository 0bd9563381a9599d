"""The history of an instrument: where it was, how it was found, what it was checked against."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from steadybead_domain.calibration.due import error_found, is_failed
from steadybead_domain.calibration.model import Calibration, Fitting, Instrument, in_force
from steadybead_domain.calibration.reference_check import ReferenceCheck, checks_in_force
from steadybead_domain.ids import ChannelId


class EntryKind(StrEnum):
    """What happened to the instrument."""

    FITTED = "fitted"
    REMOVED = "removed"
    CALIBRATED = "calibrated"
    FAILED_AS_FOUND = "failed as found"
    CHECKED = "checked"


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the history.

    `error` is shown less reference in the instrument's unit, `expanded` the expanded uncertainty
    it was seen with; None where the entry has none. `reference` is the record's id.
    """

    time: int
    kind: EntryKind
    channel: ChannelId | None
    author: str
    error: float | None = None
    expanded: float | None = None
    reference: str = ""


def history(
    instrument: Instrument,
    fittings: Iterable[Fitting],
    calibrations: Iterable[Calibration],
    checks: Iterable[ReferenceCheck],
) -> list[Entry]:
    """List all that is on record about an instrument, oldest first, from all records known."""
    own = [f for f in fittings if f.instrument == instrument.id]
    entries = [entry for fitting in own for entry in _of_fitting(fitting)]
    entries += [
        _of_calibration(c, instrument, own)
        for c in in_force(calibrations)
        if c.instrument == instrument.id
    ]
    entries += [
        Entry(
            c.time,
            EntryKind.CHECKED,
            c.channel,
            c.author,
            c.deviation,
            c.expanded_uncertainty,
            c.id,
        )
        for c in checks_in_force(checks)
        if any(f.channel == c.channel and f.covers(c.time) for f in own)
    ]
    return sorted(entries, key=lambda e: (e.time, e.kind))


def _of_fitting(fitting: Fitting) -> list[Entry]:
    fitted = Entry(fitting.start, EntryKind.FITTED, fitting.channel, fitting.author)
    if fitting.end is None:
        return [fitted]
    return [fitted, Entry(fitting.end, EntryKind.REMOVED, fitting.channel, fitting.author)]


def _of_calibration(
    calibration: Calibration, instrument: Instrument, fittings: list[Fitting]
) -> Entry:
    failed = is_failed(calibration, instrument)
    where = next((f.channel for f in fittings if f.covers(calibration.performed)), None)
    return Entry(
        calibration.performed,
        EntryKind.FAILED_AS_FOUND if failed else EntryKind.CALIBRATED,
        where,
        calibration.author,
        error_found(calibration, instrument.unit),
        calibration.expanded_uncertainty,
        calibration.id,
    )
