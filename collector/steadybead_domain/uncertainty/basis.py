"""What a budget stands on besides assumptions: a calibration, reference checks, and their age."""

from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Any, Final

from steadybead_domain.times import DAY

ASSUMED: Final = "project assumption"
GIVEN: Final = "by the plant file"


def told(given: AbstractSet[str], name: str, assumed: str = ASSUMED) -> dict[str, Any]:
    """Say of a term whether its figure is an assumption of ours or the shop's own."""
    if name in given:
        return {"assumed": False, "source": GIVEN}
    return {"assumed": True, "source": assumed}


@dataclass(frozen=True, slots=True)
class CalibrationBasis:
    """A calibration in force: U in the channel's unit, k, its age, and its words for the report.

    `outside`: the value lies outside the calibrated range, `outside_by` in the channel's unit.
    """

    expanded: float
    coverage_factor: float
    age_us: int
    words: str
    outside_by: float = 0.0

    @property
    def age_days(self) -> float:
        """Give the age in days."""
        return self.age_us / DAY


@dataclass(frozen=True, slots=True)
class CheckBasis:
    """Reference checks that the value is corrected by.

    `reference_standard` is the standard uncertainty of the reference instrument, which no number
    of checks averages; `scatter_standard` that of the correction from the scatter of the checks,
    with `dof`.
    """

    reference_standard: float
    scatter_standard: float
    dof: float
    age_us: int
    words: str

    @property
    def age_days(self) -> float:
        """Give the age of the newest check in days."""
        return self.age_us / DAY
