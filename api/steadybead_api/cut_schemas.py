"""The shapes of cut plans and of what came of them."""

from steadybead_api.fields import TimeShown, TimeText
from steadybead_api.schemas import Answer


class StripItem(Answer):
    """One strip; the stretch that it stands for is known ± `give_mm`."""

    label: str
    strand: str
    bead: int
    start_mm: float
    end_mm: float
    give_mm: float
    about: str


class CutResultItem(Answer):
    """The test of one strip, one revision of it."""

    id: str
    weld: str
    strip: str
    method: str
    outcome: str
    time: TimeText
    laboratory: str
    author: str
    entered: TimeText
    value: float | None
    unit: str
    note: str
    revision: int


class CutPlanItem(Answer):
    """A plan with its results, and what they say of the rest of the seam."""

    id: str
    weld: str
    reason: str
    verdict: str
    author: str
    entered: TimeShown
    length_mm: float
    width_mm: float
    strips: list[StripItem]
    left_out: list[str]
    results: list[CutResultItem]
    rest: str
    steps: list[str]
