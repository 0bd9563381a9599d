"""The transition table of the alarm states: what the state function does, written down.

The function in `state` derives a state from all that happened; this table says the same step by
step, for people and for the test that holds the two together.
"""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from steadybead_domain.alarms.model import AlarmState as S


class Event(StrEnum):
    """What can happen to an alarm."""

    COMES = "condition comes"
    GOES = "condition goes"
    WORSENS = "condition gets a higher priority"
    ACKNOWLEDGE = "acknowledge"
    SENSOR_LOST = "its sensor is lost"
    SENSOR_BACK = "its sensor is back"
    SHELVE = "shelve"
    SHELF_ENDS = "unshelve, or the shelf ends"
    TAKE_OUT = "take out of service"
    RETURN = "return to service"


_BOTH = {
    (S.NORMAL, Event.COMES): S.UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, Event.ACKNOWLEDGE): S.ACKNOWLEDGED,
    (S.UNACKNOWLEDGED, Event.WORSENS): S.UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, Event.SENSOR_LOST): S.SUPPRESSED,
    (S.UNACKNOWLEDGED, Event.SHELVE): S.SHELVED,
    (S.UNACKNOWLEDGED, Event.TAKE_OUT): S.OUT_OF_SERVICE,
    (S.ACKNOWLEDGED, Event.ACKNOWLEDGE): S.ACKNOWLEDGED,
    (S.ACKNOWLEDGED, Event.WORSENS): S.UNACKNOWLEDGED,
    (S.ACKNOWLEDGED, Event.SENSOR_LOST): S.SUPPRESSED,
    (S.ACKNOWLEDGED, Event.SHELVE): S.SHELVED,
    (S.ACKNOWLEDGED, Event.TAKE_OUT): S.OUT_OF_SERVICE,
    (S.SUPPRESSED, Event.SENSOR_BACK): S.UNACKNOWLEDGED,
    (S.SHELVED, Event.SHELF_ENDS): S.UNACKNOWLEDGED,
    (S.OUT_OF_SERVICE, Event.RETURN): S.UNACKNOWLEDGED,
}
ORDINARY: Mapping[tuple[S, Event], S] = MappingProxyType(
    _BOTH
    | {
        (S.UNACKNOWLEDGED, Event.GOES): S.RETURNED,
        (S.ACKNOWLEDGED, Event.GOES): S.NORMAL,
        (S.SUPPRESSED, Event.GOES): S.RETURNED,
        (S.RETURNED, Event.COMES): S.UNACKNOWLEDGED,
        (S.RETURNED, Event.ACKNOWLEDGE): S.NORMAL,
        (S.RETURNED, Event.SHELVE): S.SHELVED,
        (S.RETURNED, Event.TAKE_OUT): S.OUT_OF_SERVICE,
    }
)
LATCHING: Mapping[tuple[S, Event], S] = MappingProxyType(
    _BOTH
    | {
        (S.UNACKNOWLEDGED, Event.GOES): S.LATCHED_UNACKNOWLEDGED,
        (S.ACKNOWLEDGED, Event.GOES): S.LATCHED_ACKNOWLEDGED,
        (S.SUPPRESSED, Event.GOES): S.LATCHED_UNACKNOWLEDGED,
        (S.LATCHED_UNACKNOWLEDGED, Event.COMES): S.UNACKNOWLEDGED,
        (S.LATCHED_UNACKNOWLEDGED, Event.ACKNOWLEDGE): S.NORMAL,
        (S.LATCHED_UNACKNOWLEDGED, Event.SHELVE): S.SHELVED,
        (S.LATCHED_UNACKNOWLEDGED, Event.TAKE_OUT): S.OUT_OF_SERVICE,
        (S.LATCHED_ACKNOWLEDGED, Event.COMES): S.UNACKNOWLEDGED,
        (S.LATCHED_ACKNOWLEDGED, Event.ACKNOWLEDGE): S.NORMAL,
        (S.LATCHED_ACKNOWLEDGED, Event.SHELVE): S.SHELVED,
        (S.LATCHED_ACKNOWLEDGED, Event.TAKE_OUT): S.OUT_OF_SERVICE,
    }
)


def as_markdown() -> str:
    """Write both tables as one Markdown table, for the developers' handbook."""
    lines = ["| from | what happens | to | to, if it latches |", "| --- | --- | --- | --- |"]
    for state, event in dict.fromkeys([*ORDINARY, *LATCHING]):
        plain, latched = (t.get((state, event)) for t in (ORDINARY, LATCHING))
        lines.append(f"| {state.value} | {event.value} | {_cell(plain)} | {_cell(latched)} |")
    return "\n".join(lines) + "\n"


def _cell(state: S | None) -> str:
    return "–" if state is None else state.value
