"""Calibrations that are due soon, overdue or failed as found, as findings of a station."""

from collections.abc import Iterable

from steadybead_domain.calibration.due import (
    SOON_US,
    CalibrationState,
    Due,
    due,
    error_found,
)
from steadybead_domain.calibration.model import Calibration, Fitting, Instrument
from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.ids import ChannelId
from steadybead_domain.times import format_rfc3339

_STEPS = {
    CalibrationState.DUE_SOON: "have it calibrated before then",
    CalibrationState.OVERDUE: "have it calibrated; until then its readings are marked overdue",
    CalibrationState.NEVER_CALIBRATED: "have it calibrated, or enter its certificate",
}


def due_findings(
    instruments: Iterable[Instrument],
    fittings: Iterable[Fitting],
    calibrations: Iterable[Calibration],
    now: int,
    soon_us: int = SOON_US,
) -> list[Finding]:
    """Give the findings on all instruments that are fitted at `now`, the most urgent first.

    `instruments` are the newest revision of each. An instrument without interval and without a
    calibration gives none: nobody asked for one.
    """
    known = list(calibrations)
    by_id = {i.id: i for i in instruments}
    findings: list[tuple[int, Finding]] = []
    for fitting in fittings:
        instrument = by_id.get(fitting.instrument)
        if instrument is None or not fitting.covers(now):
            continue
        judged = due(instrument, known, now, soon_us)
        if judged.failed_as_found:
            findings.append((0, _failed(instrument, judged, fitting.channel, now)))
        finding = _due(instrument, judged, fitting, now, soon_us)
        if finding is not None:
            findings.append((judged.due or 0, finding))
    return [f for _, f in sorted(findings, key=lambda pair: (pair[0], str(pair[1].channel)))]


def _due(
    instrument: Instrument, judged: Due, fitting: Fitting, now: int, soon_us: int
) -> Finding | None:
    state, when = judged.state, judged.due
    if state is CalibrationState.VALID or (when is None and instrument.interval_days is None):
        return None
    since = fitting.start
    if when is not None:
        since = when if state is CalibrationState.OVERDUE else when - soon_us
    day = "" if when is None else f", due {format_rfc3339(when)[:10]}"
    return _finding(
        f"calibration {state.value}" if when is not None else state.value,
        fitting.channel,
        now,
        since,
        f"instrument {instrument.serial} ({instrument.kind}) is {_WORDS[state]}{day}",
        _STEPS[state],
    )


_WORDS = {
    CalibrationState.DUE_SOON: "due for calibration soon",
    CalibrationState.OVERDUE: "overdue for calibration",
    CalibrationState.NEVER_CALIBRATED: "not calibrated",
}


def _failed(instrument: Instrument, judged: Due, channel: ChannelId, now: int) -> Finding:
    calibration = judged.calibration
    error = None if calibration is None else error_found(calibration, instrument.unit)
    since = now if calibration is None else calibration.performed
    unit = "°C" if instrument.unit == "Cel" else instrument.unit
    shown = "" if error is None else f"{error:+.3g} {unit}"
    return _finding(
        "calibration failed as found",
        channel,
        now,
        since,
        f"instrument {instrument.serial} was found {shown} off, "
        f"its tolerance is ±{instrument.tolerance:g} {unit}",
        "look through the list of welds that it touches",
        error,
        instrument.tolerance,
        instrument.unit,
    )


def _finding(
    kind: str,
    channel: ChannelId,
    now: int,
    since: int,
    words: str,
    next_step: str,
    value: float | None = None,
    threshold: float | None = None,
    unit: str = "",
) -> Finding:
    return Finding(
        kind=kind,
        station=channel.station_id,
        gun=channel.gun,
        channel=channel,
        time=now,
        since=since,
        words=words,
        next_step=next_step,
        sureness=Sureness.CERTAIN,
        value=value,
        threshold=threshold,
        unit=unit,
    )
