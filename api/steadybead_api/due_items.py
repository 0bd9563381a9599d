"""What holds now of sensors, as findings: they are told anew at each look and end with their cause.

Calibrations that are due, overdue or failed as found; thermocouples that read what cannot be.
"""

from collections.abc import Iterator
from dataclasses import replace

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.wiring import hint_text
from steadybead_domain.conversion.specs import Thermocouple
from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.ids import StationId
from steadybead_domain.times import MINUTE


def due_now(
    services: Services, measuring: Measuring, station: StationId | None = None
) -> list[Finding]:
    """Give what holds now, the most urgent first."""
    now = services.clock()
    found = [*_wiring(services, measuring, station, now), *measuring.findings(now)]
    return [
        replace(f, kind=f.kind.replace(" ", "_")) for f in found if station in (None, f.station)
    ]


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
