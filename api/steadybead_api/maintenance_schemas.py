"""The shapes of answers on findings and on work on filters."""

from steadybead_api.fields import TimeText
from steadybead_api.schemas import Answer


class FindingItem(Answer):
    """What a diagnosis concluded, with its numbers.

    `value` was compared with `reference`; `sigma` is the spread it was judged by, `threshold` the
    limit that it passed, all in `unit`; null where a number does not apply. `evidence` holds
    further numbers by name. `since`: when what it speaks of began; `time`: when it was told last.
    """

    id: str
    kind: str
    station: str
    gun: str | None
    channel: str | None
    time: TimeText
    since: TimeText
    words: str
    next_step: str
    sureness: str
    value: float | None
    reference: float | None
    sigma: float | None
    threshold: float | None
    unit: str
    evidence: dict[str, float | str | None]
    urgency: str
    open: bool
    ended: TimeText | None
    ended_by: str


class FilterChangeItem(Answer):
    """Work on the intake filter of a station."""

    id: str
    station: str
    time: TimeText
    kind: str
    note: str
    author: str
    entered: TimeText


class DropItem(Answer):
    """The mean pressure drop over ten minutes of running, and the flow of all guns then."""

    drop_pa: float
    flow_l_min: float | None


class FilterChangeDetail(FilterChangeItem):
    """Work on a filter, with the drop before and after; null while no air has gone."""

    before: DropItem | None
    after: DropItem | None
