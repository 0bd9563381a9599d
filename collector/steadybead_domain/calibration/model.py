"""Instruments, where they are fitted, and their calibrations; nothing is ever overwritten."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from steadybead_domain.ids import ChannelId


class CorrectionKind(StrEnum):
    """How the points of a calibration become a correction."""

    OFFSET = "offset"
    TWO_POINT = "two-point"
    PIECEWISE = "piecewise"


@dataclass(frozen=True, slots=True)
class Instrument:
    """A sensor or meter with a serial number.

    `tolerance` is the largest as-found error, in `unit`, that still counts as good; `kind` is
    free words, such as "type K, class 1, 1.5 mm sheath".
    """

    id: str
    serial: str
    kind: str
    unit: str
    tolerance: float
    interval_days: int | None = None
    author: str = ""
    entered: int = 0
    revision: int = 1


@dataclass(frozen=True, slots=True)
class Fitting:
    """An instrument is fitted to a channel in [start, end) µs; `end` None: it still is."""

    instrument: str
    channel: ChannelId
    start: int
    end: int | None = None
    author: str = ""
    entered: int = 0

    def covers(self, time: int) -> bool:
        """Tell whether the instrument was fitted at a time."""
        return self.start <= time and (self.end is None or time < self.end)


@dataclass(frozen=True, slots=True)
class Point:
    """One point: the reference value and what the instrument showed, before and after adjusting.

    `as_found` None: not looked at; `as_left` None: not adjusted, so the same as found.
    """

    reference: float
    as_found: float | None
    as_left: float | None = None

    @property
    def left(self) -> float | None:
        """Give what the instrument shows from now on."""
        return self.as_found if self.as_left is None else self.as_left

    @property
    def error_found(self) -> float | None:
        """Give the as-found error: shown less reference."""
        return None if self.as_found is None else self.as_found - self.reference


@dataclass(frozen=True, slots=True)
class Calibration:
    """A calibration of an instrument, one revision of it.

    `performed` is when it was done; `effective`, no later, is the time from which it holds: the
    as-found points correct [effective, performed), the as-left ones everything from `performed`
    until the next calibration. `expanded_uncertainty` is in `unit`, with `coverage_factor`. An
    offset also says from which to which shown value it may be used.
    """

    id: str
    instrument: str
    performed: int
    effective: int
    kind: CorrectionKind
    unit: str
    points: tuple[Point, ...]
    expanded_uncertainty: float
    reference_instrument: str
    author: str
    entered: int
    coverage_factor: float = 2.0
    certificate: str = ""
    due: int | None = None
    valid_low: float | None = None
    valid_high: float | None = None
    revision: int = 1
    withdrawn: bool = False
    note: str = ""

    @property
    def largest_error_found(self) -> float | None:
        """Give the as-found error of largest size; None where nothing was looked at."""
        errors = [p.error_found for p in self.points if p.error_found is not None]
        return max(errors, key=abs, default=None)


def in_force(calibrations: Iterable[Calibration]) -> list[Calibration]:
    """Pick the newest revision of each calibration, without withdrawn ones, by time performed."""
    newest: dict[str, Calibration] = {}
    for calibration in calibrations:
        known = newest.get(calibration.id)
        if known is None or known.revision < calibration.revision:
            newest[calibration.id] = calibration
    kept = [c for c in newest.values() if not c.withdrawn]
    return sorted(kept, key=lambda c: (c.performed, c.id))
