"""Calibrations that are due, overdue or failed as found, in the shape of the list of findings."""

from typing import Any

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_domain.alarms.catalogue import MAINTENANCE
from steadybead_domain.alarms.model import Priority
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.ids import StationId
from steadybead_domain.times import format_rfc3339


def due_items(services: Services, station: StationId | None) -> list[dict[str, Any]]:
    """Give what holds now, the most urgent first; they are no alarms and end with their cause."""
    found = Measuring(services).findings(services.clock())
    return [_item(f) for f in found if station in (None, f.station)]


def _item(finding: Finding) -> dict[str, Any]:
    kind = finding.kind.replace(" ", "_")
    return {
        "alarm": "",
        "fingerprint": f"{finding.channel}/{kind}",
        "kind": kind,
        "station": str(finding.station),
        "gun": finding.gun,
        "channel": None if finding.channel is None else str(finding.channel),
        "time": format_rfc3339(finding.since),
        "active": True,
        "priority": Priority.LOW.value,
        "latching": False,
        "what": finding.words,
        "value": finding.value,
        "limit": finding.threshold,
        "unit": finding.unit,
        "cause": "",
        "to_do": finding.next_step,
        "for_whom": MAINTENANCE,
        "suppressed": False,
        "merged_into": "",
    }
