"""Weld records that begin and end by what the gun does, where a shop wants that.

A record begins when the gun is hot and out of its stand without one, and ends when it has been
back in the stand for a while, or is no longer hot. It needs a stand contact (or a motion channel,
with which it ends only when the gun cools): temperature and flow alone cannot tell waiting from
welding. What the gun cannot tell, job and seam, is entered later.
"""

import base64
import hashlib
from collections.abc import Callable, Iterator
from typing import Final

from steadybead_domain.ids import StationId
from steadybead_domain.live import GunState, LiveGun, LiveStation
from steadybead_domain.times import SECOND
from steadybead_domain.welds import WeldEvent, WeldEventKind

PREFIX: Final = "auto-"
ACTOR: Final = "gun state"
VIA: Final = "automatic"
BEGINS_AFTER: Final = 5 * SECOND  # project assumption: lifted for less is no welding
ENDS_AFTER: Final = 120 * SECOND  # project assumption: rods are changed faster than that
_RESTING: Final = frozenset({GunState.READY, GunState.COOLING, GunState.OFF, GunState.WARMING})


def automatic_events(
    live: LiveStation, last_stop: Callable[[StationId, str], int | None]
) -> Iterator[WeldEvent]:
    """Give the start or stop that each gun of a station tells by itself, if any.

    `last_stop` says when the last record of a gun ended: who stops a record while the gun is still
    in use has stopped it for good. The same look gives the same events, with the same ids.
    """
    for gun in live.guns:
        if gun.weld is None and _has_begun(live, gun, last_stop(live.station, gun.gun)):
            yield _event(WeldEventKind.START, _id(live.station, gun), live.station, gun)
        elif gun.weld is not None and gun.weld.startswith(PREFIX) and _has_ended(live, gun):
            yield _event(WeldEventKind.STOP, gun.weld, live.station, gun)


def _has_begun(live: LiveStation, gun: LiveGun, stopped: int | None) -> bool:
    welds = gun.state is GunState.WELDING and live.time - gun.since >= BEGINS_AFTER
    return welds and (stopped is None or gun.since > stopped)


def _has_ended(live: LiveStation, gun: LiveGun) -> bool:
    return gun.state in _RESTING and live.time - gun.since >= ENDS_AFTER


def _event(kind: WeldEventKind, weld: str, station: StationId, gun: LiveGun) -> WeldEvent:
    procedure = gun.procedure if kind is WeldEventKind.START else None
    return WeldEvent(kind, weld, station, gun.gun, gun.since, ACTOR, VIA, procedure)


def _id(station: StationId, gun: LiveGun) -> str:
    digest = hashlib.sha256(f"{station}|{gun.gun}|{gun.since}".encode()).digest()
    return PREFIX + base64.b32encode(digest[:10]).decode().lower()
