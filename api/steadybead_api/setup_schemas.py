"""The shapes of what the set-up page asks: what is heard, what is refused, a plant file checked."""

from steadybead_api.fields import TimeShown
from steadybead_api.schemas import Answer


class HeardItem(Answer):
    """A channel of the plant file and its newest reading.

    `state` is heard, silent (longer than the channel may be) or never heard. `raw` is the value
    as it came, in `wire_unit`; `value` what it was converted to, null where it cannot be.
    `per_second` is how often it came in the minute up to its newest reading. `hint` names a
    likely mistake of wiring.
    """

    channel: str
    station: str
    gun: str | None
    quantity: str
    state: str
    last_heard: TimeShown | None
    per_second: float | None
    raw: float | None
    wire_unit: str
    value: float | None
    unit: str
    quality: str
    reason: str
    hint: str


class HeardStationItem(Answer):
    """A station's channels counted, and its clock beside the server's, null where not known."""

    station: str
    channels: int
    heard: int
    last_heard: TimeShown | None
    clock_ahead_s: float | None
    clock_words: str


class RefusalReasonItem(Answer):
    """What one topic sent that was refused for one reason; `detail` is of the newest row."""

    topic: str
    outcome: str
    detail: str
    remedy: str
    rows: int
    count: int
    first_received: TimeShown
    last_received: TimeShown
    newest: int


class PlantProblemItem(Answer):
    """One mistake: its line (from 1), what is wrong, and what to do about it."""

    line: int
    what: str
    remedy: str


class PlantStationItem(Answer):
    """A station that the text describes."""

    station: str
    name: str
    guns: int
    channels: int


class PlantCheckItem(Answer):
    """What a plant file's text amounts to. Nothing of it was kept.

    `more` says that only the first mistakes are listed. The rest is empty where there are any;
    `added`, `removed` and `changed` are channels beside those of the plant file in force.
    """

    in_order: bool
    problems: list[PlantProblemItem]
    more: bool
    site: str
    name: str
    timezone: str
    stations: list[PlantStationItem]
    channels: int
    receivers: int
    added: list[str]
    removed: list[str]
    changed: list[str]
