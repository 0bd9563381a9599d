"""Pages of weld records: the search, one record with its verdict, and a late entry."""

import datetime as dt
import re
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from steadybead_api.measuring import Measuring
from steadybead_api.page_routes import NO_STATION, NO_STATION_REMEDY, Pages
from steadybead_api.page_sources import BadCursorError, ServiceSources, page_key
from steadybead_api.services import Services
from steadybead_api.trace import procedure_of
from steadybead_api.verdict import weld_verdict
from steadybead_api.verdict_keeper import keep_verdict
from steadybead_api.weld_routes import EXCURSION_KINDS
from steadybead_api.weld_state import alarm_rows, filter_state, sensor_states
from steadybead_api.weld_worth import weld_worths
from steadybead_collector.records.welds import WeldSearch
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.cut_view import CutFacts
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.signin import ProblemPage
from steadybead_dashboards.weld import WeldFacts, weld_page
from steadybead_dashboards.weld_entry import weld_entry_page
from steadybead_dashboards.weld_list import NOT_JUDGED, Wanted, weld_list_page
from steadybead_domain.ids import BadNameError, StationId
from steadybead_domain.times import EPOCH
from steadybead_domain.verdict.cut_results import judge_rest

WELDS_A_PAGE: Final = 50
NO_PAGE = mark("No such page of the list")
NO_PAGE_REMEDY = mark("Go to the list of weld records and turn its pages from there.")
NO_WELD = mark("No such weld record")
NO_WELD_REMEDY = mark("Check the address, or find the record in the list of weld records.")
BAD_DAY = mark("This is no day: write it as 2026-05-04.")
WELDER_NEEDS_QUALITY = mark("A search by welder needs the quality role.")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
Typed = Annotated[str, Query(max_length=200)]


class WeldPages:
    """Makes the pages from the services."""

    def __init__(self, services: Services, sources: ServiceSources) -> None:
        self._services = services
        self._sources = sources

    def all(self, shell: Shell, wanted: Wanted, cursor: str | None) -> Page:
        """Build one page of the search."""
        plant = self._services.plant()
        procedures = self._sources.procedures()
        try:
            search = _search(wanted, shell)
        except BadNameError:
            return ProblemPage(shell, 404, NO_STATION, NO_STATION_REMEDY)
        except _UnfitError as unfit:
            problem = str(unfit)
            return weld_list_page(plant, (), procedures, shell, wanted=wanted, problem=problem)
        welds = self._services.records.welds
        try:
            page = welds.page(search, WELDS_A_PAGE, page_key(cursor))
        except BadCursorError:
            return ProblemPage(shell, 400, NO_PAGE, NO_PAGE_REMEDY)
        older = "" if page.next is None else wanted.address(".".join(map(str, page.next)))
        words = welds.verdict_words([w.id for w in page.items])
        return weld_list_page(
            plant, page.items, procedures, shell, wanted=wanted, older=older, verdicts=words
        )

    def one(self, shell: Shell, weld_id: str) -> Page:
        """Build the page of one weld record."""
        services = self._services
        weld = services.records.welds.get(weld_id)
        if weld is None:
            return ProblemPage(shell, 404, NO_WELD, NO_WELD_REMEDY)
        measuring = Measuring(services)
        verdict = weld_verdict(services, weld, measuring)
        keep_verdict(services, weld, verdict)
        held_to = procedure_of(services, weld)
        facts = WeldFacts(
            verdict,
            weld_worths(services, weld),
            services.records.welds.amendments(weld.id),
            services.records.welds.signatures(weld.id),
            alarm_rows(services, weld, shell),
            sensor_states(services, measuring, weld, shell),
            filter_state(services, weld, shell),
            "" if held_to is None else held_to.approved_by,
            _cuts(services, weld.id),
        )
        procedure = None if held_to is None else held_to.procedure
        return weld_page(services.plant(), weld, procedure, shell, facts)

    def late(self, shell: Shell, station: str) -> Page:
        """Build the entry of a weld that is over."""
        procedures = self._sources.procedures().values()
        return weld_entry_page(self._services.plant(), procedures, shell, station)


class _UnfitError(Exception):
    """A search that cannot be made; the message is for the page."""


def weld_router(services: Services) -> APIRouter:
    """Give the routes of these pages."""
    sources = ServiceSources(services)
    pages = Pages(sources, renderer())
    made = WeldPages(services, sources)
    router = APIRouter(include_in_schema=False)

    @router.get("/welds")
    def welds(
        request: Request,
        job: Typed = "",
        seam: Typed = "",
        welder: Typed = "",
        station: Typed = "",
        day: Typed = "",
        verdict: Typed = "",
        excursion: Typed = "",
        cursor: Annotated[str | None, Query(max_length=200)] = None,
    ) -> Response:
        asked = (job, seam, welder, station, day, verdict, excursion)
        wanted = Wanted(*(text.strip() for text in asked))
        return pages.read(request, lambda shell: made.all(shell, wanted, cursor))

    @router.get("/welds/new")
    def late(request: Request, station: Typed = "") -> Response:
        return pages.read(request, lambda shell: made.late(shell, station))

    @router.get("/welds/{weld_id}")
    def weld(request: Request, weld_id: str) -> Response:
        return pages.read(request, lambda shell: made.one(shell, weld_id))

    return router


def _cuts(services: Services, weld: str) -> list[CutFacts]:
    results = services.records.cuts.results(weld)
    found = []
    for kept in services.records.cuts.plans(weld):
        own = [r for r in results if r.entered >= kept.entered]
        rest = judge_rest(kept.plan, own)
        found.append(
            CutFacts(kept.id, kept.reason, kept.author, kept.entered, kept.plan, own, rest)
        )
    return found


def _search(wanted: Wanted, shell: Shell) -> WeldSearch:
    """Turn what was typed into a search; BadNameError or _UnfitError."""
    if wanted.welder and not shell.may("see welders"):
        raise _UnfitError(WELDER_NEEDS_QUALITY)
    first, last = (None, None) if not wanted.day else _day(wanted.day, shell)
    excursion = {"yes": True, "no": False}.get(wanted.excursion)
    return WeldSearch(
        StationId.parse(wanted.station) if wanted.station else None,
        began_from=first,
        began_before=last,
        job=wanted.job or None,
        seam=wanted.seam or None,
        welder=wanted.welder or None,
        verdict="" if wanted.verdict == NOT_JUDGED else wanted.verdict or None,
        has_excursion=excursion,
        excursion_kind=EXCURSION_KINDS.get(wanted.excursion),
    )


def _day(text: str, shell: Shell) -> tuple[int, int]:
    """Give the bounds of a day in the site's zone: 23 to 25 hours."""
    try:
        day = dt.date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        day = None
    if day is None or not 1970 < day.year < 9999:
        raise _UnfitError(BAD_DAY)
    bounds = (dt.datetime.combine(d, dt.time(), shell.zone) for d in (day, day + dt.timedelta(1)))
    first, last = ((b.astimezone(dt.UTC) - EPOCH) // dt.timedelta(microseconds=1) for b in bounds)
    return first, last
