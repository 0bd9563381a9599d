"""Instruments, fittings, calibrations and checks as JSON members, for stores and the API."""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from steadybead_domain.calibration.model import (
    Calibration,
    CorrectionKind,
    Fitting,
    Instrument,
    Point,
)
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.ids import ChannelId
from steadybead_domain.times import format_rfc3339, parse_rfc3339

Record = Instrument | Fitting | Calibration | ReferenceCheck
_TIMES = frozenset({"performed", "effective", "entered", "due", "start", "end", "time"})


def to_json(record: Record) -> dict[str, Any]:
    """Write a record as JSON members: times in RFC 3339, channels as site/station/channel-id."""
    return {f.name: _written(f.name, getattr(record, f.name)) for f in fields(record)}


def instrument_from_json(data: Mapping[str, Any]) -> Instrument:
    """Read what `to_json` wrote; raise ValueError, KeyError or TypeError for anything else."""
    return Instrument(**_read(data))


def fitting_from_json(data: Mapping[str, Any]) -> Fitting:
    """Read what `to_json` wrote; raise ValueError, KeyError or TypeError for anything else."""
    return Fitting(**_read(data))


def calibration_from_json(data: Mapping[str, Any]) -> Calibration:
    """Read what `to_json` wrote; raise ValueError, KeyError or TypeError for anything else."""
    members = _read(data)
    members["kind"] = CorrectionKind(members["kind"])
    members["points"] = tuple(Point(**point) for point in members["points"])
    return Calibration(**members)


def check_from_json(data: Mapping[str, Any]) -> ReferenceCheck:
    """Read what `to_json` wrote; raise ValueError, KeyError or TypeError for anything else."""
    return ReferenceCheck(**_read(data))


def _written(name: str, value: Any) -> Any:
    if name in _TIMES and value is not None:
        return format_rfc3339(value)
    if isinstance(value, ChannelId):
        return str(value)
    if isinstance(value, CorrectionKind):
        return value.value
    if isinstance(value, tuple):
        return [{f.name: getattr(point, f.name) for f in fields(point)} for point in value]
    return value


def _read(data: Mapping[str, Any]) -> dict[str, Any]:
    members = dict(data)
    for name in _TIMES & members.keys():
        if members[name] is not None:
            members[name] = parse_rfc3339(members[name])
    if "channel" in members:
        if not isinstance(members["channel"], str):
            raise TypeError("a channel is no text")
        members["channel"] = ChannelId.parse(members["channel"])
    return members
