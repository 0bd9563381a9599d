"""A station and its guns as the floor and the station page show them."""

from dataclasses import dataclass

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.readout import Readout, readout
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment, span_text
from steadybead_dashboards.words import FITNESS, GUN_MAIN, GUN_STATES
from steadybead_domain.live import Fitness, GunState, LiveGun, LiveStation
from steadybead_domain.plant import Station

NOTHING_HEARD = mark("nothing heard from the collector")
FIT_SO_FAR = mark("Fit so far")
WATCHED = mark("a value is outside its window and is being watched")


@dataclass(frozen=True, slots=True)
class GunView:
    """One gun: its state by word and shape, since when, and its values."""

    gun: str
    state: GunState
    word: str
    since: Moment | None
    for_text: str
    weld: str | None
    procedure: str | None
    main: tuple[Readout, ...]
    more: tuple[Readout, ...]


@dataclass(frozen=True, slots=True)
class Tile:
    """One station: whether it is fit to weld and why not, its guns and its air source.

    `quiet`: not fit, and yet nothing is wrong, as with a gun that is warming; shown without colour.
    `watched`: fit, and yet a value is outside its window, not long or not far enough for an alarm.
    """

    id: str
    name: str
    href: str
    fitness: Fitness
    word: str
    reasons: tuple[str, ...]
    guns: tuple[GunView, ...]
    air: tuple[Readout, ...]
    heard: Moment | None
    quiet: bool
    watched: bool


def tile(
    station: Station, live: LiveStation | None, shell: Shell, *, has_alarm: bool = False
) -> Tile:
    """Show a station; None stands for one of which nothing was heard."""
    fitness = Fitness.NO_DATA if live is None else live.fitness
    reasons = (NOTHING_HEARD,) if live is None else live.reasons
    guns = tuple(_gun(station, gun, live, shell) for gun in station.guns)
    abnormal = any(row.abnormal for gun in guns for row in gun.main)
    watched = fitness is Fitness.FIT and abnormal
    return Tile(
        str(station.id),
        station.name or station.id.station,
        f"/stations/{station.id}",
        fitness,
        FIT_SO_FAR if watched else FITNESS[fitness],
        (WATCHED,) if watched else reasons,
        guns,
        tuple(readout(c, live, None) for c in station.channels if c.gun is None),
        None if live is None else shell.moment(live.time),
        quiet=fitness is Fitness.NOT_FIT and not abnormal and not has_alarm,
        watched=watched,
    )


def _gun(station: Station, gun: str, live: LiveStation | None, shell: Shell) -> GunView:
    known = _live_gun(gun, live)
    state = GunState.NO_DATA if known is None else known.state
    main = [c for q in GUN_MAIN if (c := station.channel_of(q, gun)) is not None]
    more = [c for c in station.channels if c.gun == gun and c not in main]
    return GunView(
        gun,
        state,
        GUN_STATES[state],
        None if known is None else shell.moment(known.since),
        "" if known is None else span_text(shell.now - known.since),
        None if known is None else known.weld,
        known.procedure if known is not None and known.procedure else station.procedure,
        tuple(readout(c, live, state) for c in main),
        tuple(readout(c, live, None) for c in more),
    )


def _live_gun(gun: str, live: LiveStation | None) -> LiveGun | None:
    guns = live.guns if live is not None else ()
    return next((g for g in guns if g.gun == gun), None)
