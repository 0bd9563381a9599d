"""The list of weld records, newest first, with its search."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar, Final
from urllib.parse import urlencode

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.verdict_view import SIDES
from steadybead_dashboards.weld_rows import WeldRow, weld_row
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure
from steadybead_domain.verdict.model import Conclusion
from steadybead_domain.welds import Weld

NOT_JUDGED: Final = "not judged"
VERDICTS: Final = {
    "": mark("any verdict"),
    Conclusion.CONFORMS.value: mark("conforms"),
    Conclusion.DOES_NOT_CONFORM.value: mark("does not conform"),
    Conclusion.CANNOT_TELL.value: mark("cannot tell"),
    NOT_JUDGED: mark("not judged yet"),
}


@dataclass(frozen=True, slots=True)
class Choice:
    """One entry of a list to choose from."""

    value: str
    text: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is searched for, as it was typed; empty asks nothing. `day` is YYYY-MM-DD."""

    job: str = ""
    seam: str = ""
    welder: str = ""
    station: str = ""
    day: str = ""
    verdict: str = ""
    excursion: str = ""

    def address(self, cursor: str) -> str:
        """Give the address of the page of this search that a cursor leads to."""
        names = ("job", "seam", "welder", "station", "day", "verdict", "excursion")
        said = {name: getattr(self, name) for name in names}
        query = {k: v for k, v in {**said, "cursor": cursor}.items() if v}
        return "/welds?" + urlencode(query)

    @property
    def is_empty(self) -> bool:
        """Tell whether nothing is asked."""
        return self == Wanted()


@dataclass(frozen=True, slots=True)
class WeldListPage:
    """One page of weld records; `older` is the address of the next page, empty on the last.

    `problem` says what is wrong with the search, empty if nothing is.
    """

    template: ClassVar[str] = "welds.html"
    shell: Shell
    rows: tuple[WeldRow, ...]
    stations: tuple[Choice, ...]
    verdicts: tuple[Choice, ...]
    kinds: tuple[Choice, ...]
    wanted: Wanted
    older: str
    problem: str = ""


def weld_list_page(
    plant: Plant,
    welds: Iterable[Weld],
    procedures: Mapping[str, Procedure],
    shell: Shell,
    *,
    wanted: Wanted | None = None,
    older: str = "",
    verdicts: Mapping[str, tuple[str, int]] | None = None,
    problem: str = "",
) -> WeldListPage:
    """Build the page; `verdicts` are word and number of excursions by record."""
    asked = wanted or Wanted()
    stations = tuple(
        Choice(str(s.id), s.name or s.id.station, str(s.id) == asked.station)
        for s in plant.stations
    )
    known = verdicts or {}
    rows = tuple(
        replace(
            weld_row(w, plant, procedures, shell),
            verdict=known.get(w.id, ("", 0))[0],
            excursions=known.get(w.id, ("", 0))[1],
        )
        for w in welds
    )
    words = tuple(Choice(key, text, key == asked.verdict) for key, text in VERDICTS.items())
    kinds = tuple(Choice(text, text, text == asked.excursion) for text in SIDES.values())
    return WeldListPage(shell, rows, stations, words, kinds, asked, older, problem)
