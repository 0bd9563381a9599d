"""Whether a station is fit to weld, with reasons in words.

It speaks of heat and air only, and never says that a gun is safe to touch.
"""

from collections.abc import Mapping, Sequence

from steadybead_domain.alarms.catalogue import CATALOGUE
from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.live import Fitness, GunState, LiveGun
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity

_NEEDED = (Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW)
_NO_DATA = ("station_offline", "station_silent")  # and what they are called while a gun is hot


def fitness(
    station: Station,
    guns: Sequence[LiveGun],
    doubts: Mapping[str, Sequence[str]],
    standing: Sequence[AlarmFact],
) -> tuple[Fitness, tuple[str, ...]]:
    """Judge the station from its guns, the doubts on each, and the active conditions.

    Fit: no doubt on at least one gun, nothing against a gun that is at work, and no condition
    that speaks against welding. A gun that is off, warming or cooling does not stand in the way
    of the other one.
    """
    missing = [f.what for f in standing if f.kind.startswith(_NO_DATA)]
    if missing or all(g.state is GunState.NO_DATA for g in guns):
        return Fitness.NO_DATA, tuple(missing or ["no reading of any gun"])
    against = [f.what for f in standing if _speaks_against(station, f)]
    idle = (GunState.OFF, GunState.WARMING, GunState.COOLING)
    for gun in guns:
        if gun.state not in idle:
            against += doubts[gun.gun]
    if against:
        return Fitness.NOT_FIT, tuple(dict.fromkeys(against))
    if any(not doubts[g.gun] for g in guns):
        return Fitness.FIT, ()
    return Fitness.NOT_FIT, tuple(d for g in guns for d in doubts[g.gun])


def _speaks_against(station: Station, fact: AlarmFact) -> bool:
    entry = CATALOGUE[fact.kind]
    if not entry.unfit or fact.suppressed or fact.kind.startswith(("heat_", "flow_")):
        return False
    if fact.channel is None:
        return True
    channel = next((c for c in station.channels if c.id == fact.channel), None)
    return channel is not None and channel.quantity in _NEEDED
