"""Corrections of weld records and sign-offs: added beside what was told, never written over it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from steadybead_domain.times import FURTHEST_AHEAD, OLDEST_ABSOLUTE
from steadybead_domain.weld_details import DETAIL_NAMES, detail_problems
from steadybead_domain.welds import Weld

OF_THE_HEAD: Final = ("job", "seam", "welder", "procedure", "procedure_revision", "start", "stop")
AMENDABLE: Final = (*OF_THE_HEAD, *DETAIL_NAMES)
MOST_REASON: Final = 500
AS_WELDER: Final = "welder"
AS_SUPERVISOR: Final = "supervisor"


@dataclass(frozen=True, slots=True)
class Amendment:
    """One change of a record: `number` counts from 1, `time` (µs) is when it was entered.

    `changes` and `before` hold, by field, what stands from now on and what stood until now; times
    in µs. `reason` is empty only where nothing but empty fields was filled in. `entry` is the id
    that the sender gave it, `acted` (µs) when somebody acted, where it was entered later.
    """

    weld: str
    number: int
    time: int
    author: str
    via: str
    reason: str
    changes: Mapping[str, Any]
    before: Mapping[str, Any]
    entry: str | None = None
    acted: int | None = None

    @property
    def corrects(self) -> bool:
        """Tell whether something that had been said was changed."""
        return any(value not in ("", None) for value in self.before.values())


@dataclass(frozen=True, slots=True)
class Signature:
    """A sign-off `as_role` welder or supervisor; `amendments` is how many stood when it was done.

    It vouches for the record as it was then: an amendment with a higher number is not covered.
    """

    weld: str
    as_role: str
    name: str
    role: str
    time: int
    amendments: int

    def covers(self, weld: Weld) -> bool:
        """Tell whether nothing was amended since."""
        return self.amendments >= weld.amendments


def standing(weld: Weld, field: str) -> Any:
    """Give what stands in an amendable field of a record."""
    return getattr(weld if field in OF_THE_HEAD else weld.details, field)


def news(weld: Weld, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Keep of `changes` what differs from what stands; an empty text is the same as nothing."""
    return {
        field: value
        for field, value in changes.items()
        if _plain(value) != _plain(standing(weld, field))
    }


def amended(weld: Weld, amendments: Iterable[Amendment]) -> Weld:
    """Give the record as it stands after the amendments, in the order of their numbers."""
    for item in sorted(amendments, key=lambda a: a.number):
        head = {k: v for k, v in item.changes.items() if k in OF_THE_HEAD}
        rest = {k: v for k, v in item.changes.items() if k in DETAIL_NAMES}
        weld = replace(weld, **head, details=replace(weld.details, **rest), amendments=item.number)
    return weld


def amendment_problems(
    weld: Weld, changes: Mapping[str, Any], reason: str, now: int
) -> list[tuple[str, str]]:
    """Give what is wrong with an amendment, as (field, remedy); `changes` are news only."""
    found = [(name, "cannot be amended") for name in changes if name not in AMENDABLE]
    found += detail_problems(changes)
    found += _time_problems(weld, changes, now)
    corrects = any(standing(weld, name) not in ("", None) for name in changes if name in AMENDABLE)
    if corrects and not reason.strip():
        found.append(("reason", "say why: what was written before is being corrected"))
    if len(reason) > MOST_REASON:
        found.append(("reason", f"is longer than {MOST_REASON} characters: shorten it"))
    return found


def _time_problems(weld: Weld, changes: Mapping[str, Any], now: int) -> list[tuple[str, str]]:
    found = []
    for name in ("start", "stop"):
        if name not in changes:
            continue
        value = changes[name]
        if value is None:
            found.append((name, "enter a time: an amendment does not open a record again"))
        elif not OLDEST_ABSOLUTE <= value <= now + FURTHEST_AHEAD:
            found.append((name, "it must lie between 2020 and now"))
        elif weld.stop is None and name == "stop":
            found.append((name, "the record still runs: stop it, if need be with the right time"))
    start, stop = changes.get("start", weld.start), changes.get("stop", weld.stop)
    if not found and {"start", "stop"} & set(changes) and stop is not None and stop < start:
        found.append(("stop", "lies before the start"))
    return found


def _plain(value: Any) -> Any:
    return None if value == "" else value
