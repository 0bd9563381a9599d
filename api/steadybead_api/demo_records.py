"""Invented acts of the demo's quality people: procedures approved, guns checked this morning."""

from typing import Final

from steadybead_api.services import Services
from steadybead_collector.records.revisions import Act
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import MINUTE

QUALITY: Final = Actor("demo quality", Role.QUALITY)
CHECKED_AGO: Final = 40 * MINUTE
NOZZLE: Final = "high-speed, 3 mm round rod"
FLOW_L_MIN: Final = 56.0
# reference, its expanded uncertainty, and by how much the gun reads otherwise
_PROBE: Final = {
    Quantity.NOZZLE_TEMPERATURE: ("probe P-07", 318.5, 2.0, 1.5),
    Quantity.AIR_FLOW: ("flow meter M-03", FLOW_L_MIN, 0.8, 0.3),
}


def furnish_records(services: Services) -> None:
    """Approve the procedures in use and enter this morning's checks, unless it was done."""
    now = services.clock()
    records = services.records
    for name in {s.procedure for s in services.plant().stations if s.procedure}:
        found = records.procedures.get(name)
        if found is not None and found.approved_at is None:
            revision = found.procedure.revision
            records.procedures.approve(name, revision, QUALITY, now, "demo")
    act = Act(QUALITY, now, "demo")
    for channel in services.plant().stations[0].channels:
        if channel.quantity in _PROBE and not records.instruments.checks(channel.id):
            records.instruments.keep_check(_check(channel, now), channel, act)


def _check(channel: Channel, now: int) -> ReferenceCheck:
    serial, reference, expanded, deviation = _PROBE[channel.quantity]
    return ReferenceCheck(
        f"demo-check-{channel.id.channel.replace('/', '-')}",
        channel.id,
        now - CHECKED_AGO,
        reference,
        reference + deviation,
        NOZZLE,
        serial,
        expanded,
        QUALITY.name,
        now,
        FLOW_L_MIN,
        occasion="start of the shift",
    )
