"""Alarms, facts and acts as JSON members, for the topic `alarm/<id>`, the API and the records."""

from collections.abc import Mapping
from typing import Any

from steadybead_domain.alarms.model import (
    ActKind,
    Alarm,
    AlarmAct,
    AlarmFact,
    AlarmState,
    Priority,
)
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.times import format_rfc3339, parse_rfc3339


def fact_to_json(fact: AlarmFact) -> dict[str, Any]:
    """Write a fact; times as RFC 3339."""
    return {
        "alarm": fact.alarm,
        "fingerprint": fact.fingerprint,
        "kind": fact.kind,
        "station": str(fact.station),
        "gun": fact.gun,
        "channel": None if fact.channel is None else str(fact.channel),
        "time": format_rfc3339(fact.time),
        "active": fact.active,
        "priority": fact.priority.value,
        "latching": fact.latching,
        "what": fact.what,
        "value": fact.value,
        "limit": fact.limit,
        "unit": fact.unit,
        "cause": fact.cause,
        "to_do": fact.to_do,
        "for_whom": fact.for_whom,
        "suppressed": fact.suppressed,
        "merged_into": fact.merged_into,
    }


def fact_from_json(data: Mapping[str, Any]) -> AlarmFact:
    """Read what `fact_to_json` wrote; KeyError, TypeError or ValueError if it is something else."""
    members = {name: data[name] for name in AlarmFact.__slots__ if name in data}
    members |= {
        "station": StationId.parse(data["station"]),
        "channel": None if data["channel"] is None else ChannelId.parse(data["channel"]),
        "time": parse_rfc3339(data["time"]),
        "priority": Priority(data["priority"]),
    }
    return AlarmFact(**members)


def act_to_json(act: AlarmAct) -> dict[str, Any]:
    """Write an act; times as RFC 3339."""
    return {
        "alarm": act.alarm,
        "kind": act.kind.value,
        "time": format_rfc3339(act.time),
        "actor": act.actor,
        "until": _written(act.until),
        "reason": act.reason,
        "of_raise": _written(act.of_raise),
    }


def act_from_json(data: Mapping[str, Any]) -> AlarmAct:
    """Read what `act_to_json` wrote; KeyError, TypeError or ValueError if it is something else."""
    return AlarmAct(
        data["alarm"],
        ActKind(data["kind"]),
        parse_rfc3339(data["time"]),
        data["actor"],
        _read(data.get("until")),
        data.get("reason", ""),
        _read(data.get("of_raise")),
    )


def alarm_to_json(alarm: Alarm) -> dict[str, Any]:
    """Write an alarm flat: the members of its gravest fact, then what is derived."""
    raised = fact_to_json(alarm.raised)
    del raised["active"], raised["suppressed"], raised["merged_into"]
    return {
        "id": raised.pop("alarm"),
        "state": alarm.state.value,
        "since": raised.pop("time"),
        "last_raised": format_rfc3339(alarm.last_raised or alarm.raised.time),
        **raised,
        "active": alarm.active,
        "cleared": _written(alarm.cleared),
        "acknowledged_by": alarm.acknowledged_by,
        "acknowledged_at": _written(alarm.acknowledged_at),
        "shelved_until": _written(alarm.shelved_until),
    }


def alarm_from_json(data: Mapping[str, Any]) -> Alarm:
    """Read what `alarm_to_json` wrote; KeyError, TypeError or ValueError for anything else."""
    fact = {**data, "alarm": data["id"], "time": data["since"], "active": True}
    return Alarm(
        fact_from_json(fact),
        AlarmState(data["state"]),
        data["active"],
        _read(data["cleared"]),
        data["acknowledged_by"],
        _read(data["acknowledged_at"]),
        _read(data["shelved_until"]),
        _read(data.get("last_raised")) or parse_rfc3339(data["since"]),
    )


def _written(time: int | None) -> str | None:
    return None if time is None else format_rfc3339(time)


def _read(text: str | None) -> int | None:
    return None if text is None else parse_rfc3339(text)
