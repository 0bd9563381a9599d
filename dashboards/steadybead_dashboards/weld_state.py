"""How sensors, filter and alarms stood while a weld was laid."""

from dataclasses import dataclass

from steadybead_dashboards.sensor_words import StateView
from steadybead_dashboards.site_time import Moment


@dataclass(frozen=True, slots=True)
class SensorState:
    """One channel then: its instrument and calibration, and the last reference check before.

    `instrument` is empty where none was entered; `checked` None where there was no check.
    """

    label: str
    href: str
    instrument: str
    state: StateView
    certificate: str
    checked: Moment | None
    check_words: str


@dataclass(frozen=True, slots=True)
class FilterState:
    """The intake filter then; a text is empty where it is not known."""

    drop: str
    limit: str
    changed: Moment | None
    work: str


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """One alarm of the gun or its air while the record ran, with 60 s on either side."""

    priority: str
    priority_word: str
    what: str
    start: Moment
    length: str
    acknowledged_by: str
