"""The list of weld records, newest first."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import ClassVar

from steadybead_dashboards.shell import Shell
from steadybead_dashboards.weld_rows import WeldRow, weld_row
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure
from steadybead_domain.welds import Weld


@dataclass(frozen=True, slots=True)
class Choice:
    """One entry of a list to choose from."""

    value: str
    text: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class WeldListPage:
    """One page of weld records; `older` is the address of the next page, empty on the last."""

    template: ClassVar[str] = "welds.html"
    shell: Shell
    rows: tuple[WeldRow, ...]
    stations: tuple[Choice, ...]
    older: str


def weld_list_page(
    plant: Plant,
    welds: Iterable[Weld],
    procedures: Mapping[str, Procedure],
    shell: Shell,
    *,
    station: str = "",
    older: str = "",
) -> WeldListPage:
    """Build the page; `station` is the one chosen (`site/station`), empty for all."""
    choices = tuple(
        Choice(str(s.id), s.name or s.id.station, str(s.id) == station) for s in plant.stations
    )
    rows = tuple(weld_row(w, plant, procedures, shell) for w in welds)
    return WeldListPage(shell, rows, choices, older)
