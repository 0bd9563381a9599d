"""Answers on the alarms' own quality, and on who was told of them."""

from steadybead_api.fields import TimeShown
from steadybead_api.schemas import Answer


class AlarmCount(Answer):
    """How often a condition came. `what` are its newest words."""

    fingerprint: str
    station: str
    what: str
    raised: int


class AlarmQualityItem(Answer):
    """How well the alarms serve the people of a stretch of time [start, end).

    `operator_hours`: working hours of the plant file's calendar in it, or the whole stretch if
    there were none. `flood_share`: share of the time from more than 10 alarms in 10 minutes until
    fewer than 5. Chattering: three times or more in a minute. Standing: 24 h or longer.
    """

    start: TimeShown
    end: TimeShown
    operator_hours: float
    raised: int
    per_operator_hour: float
    flood_share: float
    most_in_ten_minutes: int
    chattering: list[AlarmCount]
    standing: list[AlarmCount]
    worst: list[AlarmCount]
    by_role: dict[str, int]


class AttemptItem(Answer):
    """One attempt to deliver a notice."""

    time: TimeShown
    outcome: str
    detail: str


class NoticeItem(Answer):
    """A notice to a receiver; `alarms` are those that it tells of."""

    id: str
    receiver: str
    time: TimeShown
    subject: str
    body: str
    alarms: list[str]
    state: str
    attempts: list[AttemptItem]
