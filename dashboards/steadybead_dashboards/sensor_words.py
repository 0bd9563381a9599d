"""Words for instruments: calibration states, histories, distributions, and figures with U."""

import math
from dataclasses import dataclass

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.words import QUANTITIES, printed
from steadybead_domain.calibration.due import CalibrationState, Due
from steadybead_domain.calibration.history import EntryKind
from steadybead_domain.calibration.model import CorrectionKind
from steadybead_domain.quantities import Quantity
from steadybead_domain.uncertainty.budget import Distribution

STATES = {
    CalibrationState.VALID: mark("valid"),
    CalibrationState.DUE_SOON: mark("due soon"),
    CalibrationState.OVERDUE: mark("overdue"),
    CalibrationState.NEVER_CALIBRATED: mark("never calibrated"),
}
NO_INSTRUMENT = mark("no instrument entered")
ENTRIES = {
    EntryKind.FITTED: mark("fitted"),
    EntryKind.REMOVED: mark("taken off"),
    EntryKind.CALIBRATED: mark("calibrated"),
    EntryKind.FAILED_AS_FOUND: mark("calibrated, found beyond its tolerance"),
    EntryKind.CHECKED: mark("reference check"),
}
DISTRIBUTIONS = {
    Distribution.NORMAL: mark("normal"),
    Distribution.RECTANGULAR: mark("rectangular"),
    Distribution.TRIANGULAR: mark("triangular"),
    Distribution.U_SHAPED: mark("U-shaped"),
}
KINDS = {
    CorrectionKind.OFFSET: mark("one offset"),
    CorrectionKind.TWO_POINT: mark("two points"),
    CorrectionKind.PIECEWISE: mark("three points or more"),
}


@dataclass(frozen=True, slots=True)
class StateView:
    """A calibration's state: `key` picks the shape, `word` says it, `due` is a day or empty."""

    key: str
    word: str
    due: str = ""


def state_view(due: Due | None, day: str) -> StateView:
    """Show a state; `day` is the due date in the site's zone, empty where none is set."""
    if due is None:
        return StateView("none", NO_INSTRUMENT)
    return StateView(due.state.value.replace(" ", "-"), STATES[due.state], day)


def expanded_text(expanded: float, quantity: Quantity) -> str:
    """Write `± 6.6 °C`: two figures are enough for an uncertainty (JCGM 100:2008, 7.2.6)."""
    return f"± {two_figures(expanded)} {QUANTITIES[quantity].unit}"


def figure(value: float, quantity: Quantity) -> str:
    """Print a value with one decimal more than the floor shows."""
    decimals = max(QUANTITIES[quantity].decimals, 1)
    text = f"{value:.{decimals}f}"
    return printed(0.0, quantity) if float(text) == 0.0 else text.replace("-", "−")


def two_figures(value: float) -> str:
    """Round a positive number to two significant figures, without an exponent."""
    if value <= 0.0 or not math.isfinite(value):
        return "0"
    places = max(1 - math.floor(math.log10(value)), 0)
    return f"{value:.{min(places, 6)}f}"


def short(value: float) -> str:
    """Print a number of a record as it was entered."""
    return f"{value:.6g}".replace("-", "−")


def signed(value: float) -> str:
    """Print a correction or an error with its sign."""
    text = f"{value:+.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"+0", "-0"} else text.replace("-", "−")


def shown_unit(unit: str) -> str:
    """Write a unit as people do."""
    return "°C" if unit == "Cel" else unit
