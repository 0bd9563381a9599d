"""The entry of a weld that is over: nothing was recorded while it was laid, or not all of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.shell import Shell
from steadybead_dashboards.weld_list import Choice
from steadybead_dashboards.weld_log import LogGroup, entry_groups
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure


@dataclass(frozen=True, slots=True)
class GunChoice:
    """A gun of a station, as `site/station gun`."""

    value: str
    text: str
    procedure: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class WeldEntryPage:
    """The form; guns to choose from, procedures, and the fields of the log."""

    template: ClassVar[str] = "weld-entry.html"
    shell: Shell
    guns: tuple[GunChoice, ...]
    procedures: tuple[Choice, ...]
    groups: tuple[LogGroup, ...]


def weld_entry_page(
    plant: Plant, procedures: Iterable[Procedure], shell: Shell, station: str
) -> WeldEntryPage:
    """Build the page; guns of `station` (`site/station`) come first."""
    ordered = sorted(plant.stations, key=lambda s: str(s.id) != station)
    guns = [
        GunChoice(
            f"{s.id} {gun}",
            f"{s.name or s.id.station}, {gun}",
            s.procedure or "",
            str(s.id) == station,
        )
        for s in ordered
        for gun in s.guns
    ]
    named = tuple(
        Choice(p.id, p.title, chosen=False) for p in sorted(procedures, key=lambda p: p.title)
    )
    return WeldEntryPage(shell, tuple(guns), named, entry_groups())
