"""Who is told, on virtual time: a desk that reads what the shop's receivers get.

desk = Desk(shop, receiver("welders", roles=["welder"]))
desk.expect(between("09:12", "09:13"), told("welders", "air_lost_heat_on"))
desk.run()
desk.check()
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from shop_language import MIDNIGHT, Between, Shop
from steadybead_domain.alarms.model import Alarm, Priority
from steadybead_domain.alarms.notices import Notice, Router
from steadybead_domain.alarms.receivers import Hours, Receiver
from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.times import MINUTE, SECOND

if TYPE_CHECKING:
    from steadybead_domain.ids import StationId

WEEK = WorkCalendar("UTC", hours=((420, 960),))


def receiver(
    name: str,
    roles: Sequence[str] = ("welder", "maintenance", "manager", "qa"),
    least: str = "medium",
    hours: str = "always",
    group_s: float = 60.0,
    after_min: float = 0.0,
    repeat_min: float | None = None,
    pause_min: float = 30.0,
) -> Receiver:
    return Receiver(
        name,
        frozenset(roles),
        Priority(least),
        hours=Hours(hours),
        group=round(group_s * SECOND),
        after=round(after_min * MINUTE),
        repeat=None if repeat_min is None else round(repeat_min * MINUTE),
        pause=round(pause_min * MINUTE),
    )


@dataclass(frozen=True)
class Telling:
    """That a receiver is told of a kind of alarm (`again`: once more), or `never`."""

    receiver: str
    kind: str
    again: bool = False
    never: bool = False


def told(name: str, kind: str, *, again: bool = False) -> Telling:
    """Expect a receiver to be told."""
    return Telling(name, kind, again)


def not_told(name: str, kind: str) -> Telling:
    """Expect a receiver not to be told."""
    return Telling(name, kind, never=True)


class Desk:
    """Routes what was seen in a shop that has run."""

    def __init__(self, shop: Shop, *receivers: Receiver, calendar: WorkCalendar = WEEK) -> None:
        self.shop = shop
        self.router = Router(receivers, calendar, "north", {})
        self.kinds: dict[str, str] = {}
        self.notices: list[Notice] = []
        self.expected: list[tuple[Between, Telling]] = []

    def expect(self, when: Between, what: Telling) -> None:
        """Write a rule down."""
        self.expected.append((when, what))

    def run(self, **kwargs: Any) -> None:
        """Let the day pass, then tell at each tick what was due."""
        self.shop.run(**kwargs)
        seen: dict[int, dict[StationId, tuple[Alarm, ...]]] = {}
        for bay in self.shop.bays.values():
            for now, alarms in bay.seen.alarms:
                seen.setdefault(now, {})[bay.station.id] = alarms
                self.kinds |= {a.raised.alarm: a.raised.kind for a in alarms}
        for now in sorted(seen):
            alarms_now = [a for alarms in seen[now].values() for a in alarms]
            self.notices += self.router.decide(now, alarms_now)

    def of(self, name: str) -> list[Notice]:
        """List what one receiver was told."""
        return [n for n in self.notices if n.receiver == name]

    def check(self) -> None:
        """Hold what was told against the rules."""
        for when, what in self.expected:
            hits = [n for n in self.of(what.receiver) if self._tells(n, what)]
            inside = [n for n in hits if when.start <= n.time <= when.end]
            broken = bool(inside) if what.never else not inside
            sent = [(n.receiver, (n.time - MIDNIGHT) / SECOND, n.subject) for n in self.notices]
            assert not broken, f"{what} {when}; told {sent}"

    def _tells(self, notice: Notice, what: Telling) -> bool:
        return any(
            self.kinds[t.alarm] == what.kind and (t.before > 0) >= what.again for t in notice.told
        )
