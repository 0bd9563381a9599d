"""What holds now of sensors, in the shape of the list of findings.

Calibrations that are due, overdue or failed as found; thermocouples that read what cannot be.
"""

from collections.abc import Iterator
from typing import Any

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.wiring import hint_text
from steadybead_domain.alarms.catalogue import MAINTENANCE
from steadybead_domain.alarms.model import Priority
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.ids import StationId
from steadybead_domain.times import MINUTE, format_rfc3339


def due_items(services: Services, station: StationId | None) -> list[dict[str, Any]]:
    """Give what holds now, the most urgent first; they are no alarms and end with their cause."""
    now, measuring = services.clock(), Measuring(services)
    found = [*_wiring(services, measuring, station, now), *measuring.findings(now)]
    return [_item(f) for f in found if station in (None, f.station)]


def _wiring(
    services: Services, measuring: Measuring, station: StationId | None, now: int
) -> Iterator[Finding]:
    channels = [
        c
        for c in services.plant().channels()
        if isinstance(c.conversion, Thermocouple) and station in (None, c.id.station_id)
    ]
    latest = services.readings.latest([c.id for c in channels])
    for channel in channels:
        newest = latest.get(channel.id)
        if newest is None or newest.time < now - MINUTE:
            continue
        text = hint_text(services, measuring, channel, now)
        if text:
            words, _, step = text.rpartition("; ")
            yield Finding(
                kind="wiring implausible",
                station=channel.id.station_id,
                gun=channel.gun,
                channel=channel.id,
                time=now,
                since=newest.time,
                words=words,
                next_step=step,
                sureness=Sureness.LIKELY,
            )


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
