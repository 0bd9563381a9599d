"""What is shown of a station when its collector has gone quiet, as a pure function."""

from dataclasses import replace

from steadybead_domain.ids import StationId
from steadybead_domain.live import Fitness, GunState, LiveStation
from steadybead_domain.times import SECOND

SILENT_AFTER = 5 * SECOND
UNREACHABLE = "broker unreachable"
NEVER_HEARD = "nothing heard from the collector yet"


def shown(live: LiveStation, heard: int, now: int, *, reachable: bool) -> LiveStation:
    """Give the station as it is while it is news, else as `no data`, with its last values."""
    silent = now - heard
    if reachable and silent < SILENT_AFTER:
        return live
    reason = f"no data for {silent // SECOND} s" if reachable else UNREACHABLE
    guns = tuple(
        g if g.state is GunState.NO_DATA else replace(g, state=GunState.NO_DATA, since=heard)
        for g in live.guns
    )
    return replace(live, fitness=Fitness.NO_DATA, reasons=(reason,), guns=guns)


def never_heard(station: StationId, now: int, *, reachable: bool) -> LiveStation:
    """Give a station of the plant of which nothing was heard."""
    reason = NEVER_HEARD if reachable else UNREACHABLE
    return LiveStation(station, now, Fitness.NO_DATA, (reason,))


def same_state(one: LiveStation, other: LiveStation) -> bool:
    """Tell whether only values, times or the seconds of silence differ."""
    return (one.fitness, _reasons(one), one.guns) == (other.fitness, _reasons(other), other.guns)


def _reasons(live: LiveStation) -> tuple[str, ...]:
    if live.fitness is Fitness.NO_DATA:
        return tuple(r.split(" for ")[0] for r in live.reasons)
    return live.reasons
