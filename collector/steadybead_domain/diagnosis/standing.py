"""Which findings stand, how urgent they are, and what ended the others.

A finding is told once or several times (the same one with newer numbers). Whether it still stands
is a pure function of what was told, of the filter changes and fittings on record, and of the time.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from steadybead_domain.diagnosis import signatures as s
from steadybead_domain.diagnosis.drift_words import CANNOT_TELL
from steadybead_domain.diagnosis.finding import OVER, Finding, Sureness
from steadybead_domain.ids import ChannelId
from steadybead_domain.maintenance import FilterChange
from steadybead_domain.times import DAY, HOUR, format_rfc3339

_DRIFT = frozenset(
    {
        CANNOT_TELL,
        s.THERMOCOUPLE,
        s.THERMOCOUPLE_OFFSET,
        s.FLOW_METER,
        s.FLOW_METER_ZERO,
        s.FLOW_LOSS,
        s.CONTROLLER,
        s.SUPPLY,
        s.POWER_OR_LOSS,
        s.PROBE,
        s.REFERENCE_METER,
    }
)
FORECAST = "filter_forecast"
SHIFT = 8 * HOUR
_NOW_KINDS = frozenset({"filter_limit", "filter_blocked", "air_leak", "element_headroom_lost"})
_PLAN_KINDS = frozenset(
    {"filter_due", "flow_margin_falling", "element_ageing", "element_warm_up_slow"}
)
# Told afresh for as long as it goes on, so silence is its end. Project assumptions, no source.
_PASSES_AFTER = {
    "sensor_spikes": 4 * DAY,
    "sensor_impossible_rate": 4 * DAY,
    "sensor_intermittent": 4 * DAY,
    "element_headroom_lost": 4 * DAY,
}


class Urgency(IntEnum):
    """In which order to take findings."""

    NOW = 0
    SOON = 1
    PLAN = 2
    KNOW = 3

    @property
    def word(self) -> str:
        """Give the word of the API."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Ended:
    """When a finding ended, µs, and by what."""

    time: int
    by: str


@dataclass(frozen=True, slots=True)
class Standing:
    """A finding with its id, how urgent it is, and what ended it."""

    id: str
    finding: Finding
    urgency: Urgency
    ended: Ended | None = None

    def to_json(self) -> dict[str, Any]:
        """Write as JSON members."""
        end = self.ended
        return {
            "id": self.id,
            **self.finding.to_json(),
            "urgency": self.urgency.word,
            "open": end is None,
            "ended": None if end is None else format_rfc3339(end.time),
            "ended_by": "" if end is None else end.by,
        }


def subject_of(finding: Finding) -> str:
    """Give what a finding is about: a newer one about the same takes its place.

    All that is said of a station's filter is one subject, a leak behind it with it, and so is all
    drift of a gun.
    """
    kind, channel = finding.kind.removesuffix(OVER), finding.channel
    if kind.startswith("filter_") or kind == "air_leak":
        return f"{finding.station}/filter"
    place = "" if channel is None else channel.channel
    weighed = kind == s.ELEMENT and finding.evidence  # by the drift watch, among other causes
    if kind in {*_DRIFT, "drift"} or weighed:
        kind, place = "drift", ""
    return f"{finding.station}/{finding.gun or ''}/{place}/{kind}"


def finding_id(finding: Finding) -> str:
    """Give the id, made of what identifies a finding: the same readings give the same id."""
    told = (finding.kind, finding.station, finding.gun, finding.channel, finding.since)
    return "fd-" + hashlib.sha256("|".join(map(str, told)).encode()).hexdigest()[:24]


def urgency_of(finding: Finding) -> Urgency:
    """Tell how soon somebody must act; a filter that may be full within a shift needs it now."""
    if finding.kind in _NOW_KINDS:
        return Urgency.NOW
    if finding.kind == FORECAST or finding.kind.endswith(OVER):
        return Urgency.KNOW
    if finding.kind == "filter_due":
        low = dict(finding.evidence).get("low_h")
        soon = isinstance(low, int | float) and low * HOUR <= SHIFT
        return Urgency.NOW if soon else Urgency.PLAN
    if finding.kind in _PLAN_KINDS or finding.sureness is Sureness.POSSIBLE:
        return Urgency.PLAN
    return Urgency.SOON


def ended(
    finding: Finding,
    superseded: int | None,
    changes: Iterable[FilterChange],
    fitted: Iterable[tuple[ChannelId, int]],
    now: int,
) -> Ended | None:
    """Give what ended a finding first, None while it stands.

    `superseded`: when a newer finding about the same was told. `changes`: work on filters.
    `fitted`: channels with the time at which another instrument was fitted to them.
    """
    ends = [] if superseded is None else [Ended(superseded, "a newer finding")]
    if finding.kind.endswith(OVER):
        ends.append(Ended(finding.time, "all is as before"))
    if finding.kind.startswith("filter_"):
        ends += [
            Ended(c.time, f"filter {c.kind.value}")
            for c in changes
            if c.station == finding.station and c.begins_anew and c.time >= finding.time
        ]
    if finding.channel is not None:
        ends += [
            Ended(start, "another instrument was fitted")
            for channel, start in fitted
            if channel == finding.channel and finding.time <= start <= now
        ]
    passes = _PASSES_AFTER.get(finding.kind)
    if passes is not None and finding.time + passes <= now:
        ends.append(Ended(finding.time + passes, "not seen again"))
    return min(ends, key=lambda e: e.time, default=None)
