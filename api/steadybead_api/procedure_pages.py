"""Pages of procedures: gather what they show, render it."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from steadybead_api.page_routes import Pages
from steadybead_api.page_sources import ServiceSources
from steadybead_api.reach import reach
from steadybead_api.services import Services
from steadybead_collector.records.procedures import ProcedureRevision
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.procedure import (
    ReachRow,
    RevisionView,
    changes_of,
    procedure_entry_page,
    procedure_list_page,
    procedure_page,
)
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.signin import ProblemPage
from steadybead_dashboards.words import QUANTITIES
from steadybead_domain.procedures import Procedure

NO_PROCEDURE = mark("No such procedure")
NO_PROCEDURE_REMEDY = mark("Choose one of the list of procedures.")
MOST_GUNS = 60
REVISION = Annotated[int | None, Query(ge=1, le=2**31 - 1)]


class ProcedurePages:
    """Makes the pages from the services."""

    def __init__(self, services: Services) -> None:
        self._services = services

    def all(self, shell: Shell) -> Page:
        """Build the list."""
        used: dict[str, tuple[str, ...]] = {}
        for station in self._services.plant().stations:
            if station.procedure:
                names = used.get(station.procedure, ())
                used[station.procedure] = (*names, station.name or station.id.station)
        rows = [_view(r, None, shell) for r in self._services.records.procedures.newest()]
        return procedure_list_page(rows, used, shell)

    def one(self, shell: Shell, name: str, revision: int | None) -> Page:
        """Build the page of a revision, the newest one if none is named."""
        found = self._services.records.procedures.revisions(name)
        shown = [r for r in found if revision in (None, r.procedure.revision)]
        if not shown:
            return ProblemPage(shell, 404, NO_PROCEDURE, NO_PROCEDURE_REMEDY)
        views = _with_changes(found, shell)
        view = next(v for v in views if v.procedure == shown[0].procedure)
        return procedure_page(view, views, self._reach(view.procedure), shell)

    def entry(self, shell: Shell, name: str | None) -> Page:
        """Build the entry of a new procedure, or of a further revision."""
        found = None if name is None else self._services.records.procedures.get(name)
        if name is not None and found is None:
            return ProblemPage(shell, 404, NO_PROCEDURE, NO_PROCEDURE_REMEDY)
        return procedure_entry_page(None if found is None else found.procedure, shell)

    def _reach(self, procedure: Procedure) -> list[ReachRow]:
        """Ask the guns of the stations that use it; all of them if none does."""
        stations = self._services.plant().stations
        own = [s for s in stations if s.procedure == procedure.id] or list(stations)
        guns = [(station, gun) for station in own for gun in station.guns][:MOST_GUNS]
        return [
            ReachRow(
                station.name or station.id.station,
                gun,
                QUANTITIES[item.quantity].label,
                item.words.replace("Cel", "°C"),
                item.can_conform,
            )
            for station, gun in guns
            for item in reach(self._services, station, gun, procedure)
        ]


def procedure_router(services: Services) -> APIRouter:
    """Give the routes of these pages."""
    pages = Pages(ServiceSources(services), renderer())
    made = ProcedurePages(services)
    router = APIRouter(include_in_schema=False)

    @router.get("/procedures")
    def procedures(request: Request) -> Response:
        return pages.read(request, made.all)

    @router.get("/procedures/new")
    def new(request: Request) -> Response:
        return pages.read(request, lambda shell: made.entry(shell, None))

    @router.get("/procedures/{procedure}")
    def procedure(request: Request, procedure: str, revision: REVISION = None) -> Response:
        return pages.read(request, lambda shell: made.one(shell, procedure, revision))

    @router.get("/procedures/{procedure}/revise")
    def revise(request: Request, procedure: str) -> Response:
        return pages.read(request, lambda shell: made.entry(shell, procedure))

    return router


def _with_changes(found: Sequence[ProcedureRevision], shell: Shell) -> list[RevisionView]:
    older = [r.procedure for r in found[1:]] + [None]
    return [_view(r, before, shell) for r, before in zip(found, older, strict=True)]


def _view(found: ProcedureRevision, before: Procedure | None, shell: Shell) -> RevisionView:
    approved = found.approved_at
    return RevisionView(
        found.procedure,
        found.author,
        shell.moment(found.time),
        found.approved_by,
        None if approved is None else shell.moment(approved),
        changes_of(found.procedure, before),
    )
