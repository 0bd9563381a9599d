"""From rows to the kernel's types and back."""

from dataclasses import asdict, replace
from typing import Any

from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmFact, Priority
from steadybead_domain.calibration.codec import check_from_json, fitting_from_json
from steadybead_domain.calibration.model import Fitting
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.maintenance import FilterChange
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.weld_details import details_from_json
from steadybead_domain.welds import WeldEvent, WeldEventKind


def storable(text: str) -> str:
    """Replace what no database takes as text: lone surrogates and NUL."""
    return text.encode(errors="replace").decode().replace("\0", "\N{REPLACEMENT CHARACTER}")


def storable_texts(content: dict[str, Any]) -> dict[str, Any]:
    """Make the texts of a JSON object storable."""
    return {k: storable(v) if isinstance(v, str) else v for k, v in content.items()}


def weld_event(row: Any) -> WeldEvent:
    """Build an event from its row."""
    return WeldEvent(
        WeldEventKind(row.kind),
        row.weld,
        StationId(row.site, row.station),
        row.gun,
        row.time,
        row.actor,
        row.via,
        row.procedure,
        row.procedure_revision,
        row.job,
        row.seam,
        row.welder,
        details_from_json(row.details),
        row.stop,
    )


def weld_event_values(event: WeldEvent) -> dict[str, Any]:
    """Give the columns of an event."""
    return {
        "kind": event.kind.value,
        "weld": event.weld,
        "site": event.station.site,
        "station": event.station.station,
        "gun": event.gun,
        "time": event.time,
        "actor": event.actor,
        "via": event.via,
        "procedure": _stored(event.procedure),
        "procedure_revision": event.procedure_revision,
        "job": _stored(event.job),
        "seam": _stored(event.seam),
        "welder": _stored(event.welder),
        "details": storable_texts(event.details.to_json()) or None,
        "stop": event.stop,
    }


def alarm_fact(row: Any) -> AlarmFact:
    """Build a fact from its row."""
    return AlarmFact(
        row.alarm,
        row.fingerprint,
        row.kind,
        StationId(row.site, row.station),
        row.gun,
        None if row.channel is None else ChannelId.parse(row.channel),
        row.time,
        row.active,
        Priority(row.priority),
        row.latching,
        row.what,
        row.value,
        row.limit,
        row.unit,
        row.cause,
        row.to_do,
        row.for_whom,
        row.suppressed,
        row.merged_into,
    )


def alarm_fact_values(fact: AlarmFact) -> dict[str, Any]:
    """Give the columns of a fact."""
    return {
        "alarm": fact.alarm,
        "fingerprint": fact.fingerprint,
        "kind": fact.kind,
        "site": fact.station.site,
        "station": fact.station.station,
        "gun": fact.gun,
        "channel": None if fact.channel is None else str(fact.channel),
        "time": fact.time,
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


def alarm_act(row: Any) -> AlarmAct:
    """Build an act from its row."""
    return AlarmAct(
        row.alarm, ActKind(row.kind), row.time, row.actor, row.until, row.reason, row.of_raise
    )


def alarm_act_values(act: AlarmAct) -> dict[str, Any]:
    """Give the columns of an act."""
    return {
        "alarm": act.alarm,
        "kind": act.kind.value,
        "time": act.time,
        "actor": act.actor,
        "until": act.until,
        "reason": act.reason,
        "of_raise": act.of_raise,
    }


def filter_change(row: Any) -> FilterChange:
    """Build a filter change from its row."""
    return FilterChange.from_json(row.content)


def reference_check(row: Any) -> ReferenceCheck:
    """Build a reference check from its row."""
    return check_from_json(row.content)


def fitting(row: Any) -> Fitting:
    """Build a fitting from its row; a withdrawn one ends where it starts."""
    members = {n: v for n, v in row.content.items() if n not in ("id", "revision", "withdrawn")}
    made = fitting_from_json(members)
    return replace(made, end=made.start) if row.content["withdrawn"] else made


def procedure(row: Any) -> Procedure:
    """Build a procedure from its row."""
    return procedure_of(row.content, row.id, row.revision)


def procedure_of(content: dict[str, Any], procedure_id: str, revision: int) -> Procedure:
    """Build a procedure from what `procedure_content` gave; KeyError, TypeError, ValueError."""
    windows = {name: _window(content.get(name)) for name in ("travel_speed", "rod_force")}
    return Procedure(
        id=procedure_id,
        title=content["title"],
        material=content["material"],
        process=content["process"],
        nozzle_temperature=Window(**content["nozzle_temperature"]),
        air_flow=Window(**content["air_flow"]),
        flow_reference=FlowReference(content["flow_reference"]),
        source=content["source"],
        edition=content["edition"],
        revision=revision,
        rod=content.get("rod", ""),
        warm_up_s=content.get("warm_up_s", 600.0),
        provenance=content.get("provenance", {}),
        tacking=content.get("tacking", ""),
        nozzle=content.get("nozzle", ""),
        preparation=content.get("preparation", ""),
        note=content.get("note", ""),
        reason=content.get("reason", ""),
        **windows,
    )


def procedure_content(item: Procedure) -> dict[str, Any]:
    """Give everything but id and revision, as JSON."""
    content = asdict(replace(item, provenance=dict(item.provenance)))
    del content["id"], content["revision"]
    return content


def _stored(text: str | None) -> str | None:
    return None if text is None else storable(text)


def _window(data: dict[str, Any] | None) -> Window | None:
    return None if data is None else Window(**data)
