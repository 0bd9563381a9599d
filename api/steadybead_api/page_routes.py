"""Routes of the pages: build a context, render it."""

from typing import Protocol
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from steadybead_api import language_routes
from steadybead_api.language_routes import language_of
from steadybead_api.page_sources import PageSources, ServiceSources
from steadybead_api.routers import take
from steadybead_api.services import Services
from steadybead_dashboards.assets import KEEP_FOR_EVER
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.floor import MOST_OF_TODAY, floor_page, today_began, todays_welds
from steadybead_dashboards.render import SECURITY_HEADERS, Page, Renderer, renderer
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.signin import ProblemPage
from steadybead_dashboards.station import station_page
from steadybead_domain.ids import BadNameError, StationId

WELDS_OF_A_STATION = 10
WELDS_OF_A_DAY = 500
NO_STATION = mark("No such station")
NO_STATION_REMEDY = mark(
    "The plant file names no station of this name. Choose one on the floor page."
)


class _Made(Protocol):
    def __call__(self, shell: Shell) -> Page:
        """Build a page around a shell."""


class Pages:
    """Makes the answer of each page."""

    def __init__(self, sources: PageSources, renderer_: Renderer) -> None:
        self.sources = sources
        self.renderer = renderer_

    def answer(self, page: Page, status: int = 200) -> Response:
        """Render a page."""
        return HTMLResponse(self.renderer.render(page), status, SECURITY_HEADERS)

    def shell(self, request: Request) -> Shell:
        """Build what every page carries."""
        plant = self.sources.plant()
        path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return Shell(
            plant.name or plant.site,
            ZoneInfo(plant.timezone),
            self.sources.now(),
            path,
            self.sources.person(request),
            self.sources.csrf(request),
            self.sources.link(),
            language_of(request),
        )

    def read(self, request: Request, made: _Made) -> Response:
        """Answer with a page, or lead to the sign-in page where reading asks for it."""
        if self.sources.may_read(request):
            return self.answer_made(made(self.shell(request)))
        return RedirectResponse(f"/signin?next={quote(request.url.path, safe='')}", 303)

    def answer_made(self, page: Page) -> Response:
        """Answer with the status that the page names, 200 for most."""
        return self.answer(page, page.status if isinstance(page, ProblemPage) else 200)

    def floor(self, shell: Shell) -> Page:
        """Build the floor page."""
        source = self.sources
        plant = source.plant()
        welds, more = source.welds_since(today_began(shell), WELDS_OF_A_DAY)
        words = source.verdict_words(welds[:MOST_OF_TODAY])
        today = todays_welds(plant, welds, source.procedures(), words, shell, more=more)
        return floor_page(plant, source.live(), source.alarms(), shell, source.findings(), today)

    def station(self, shell: Shell, site: str, name: str) -> Page:
        """Build a station's page."""
        source = self.sources
        plant = source.plant()
        try:
            station = plant.station(StationId.parse(f"{site}/{name}"))
        except BadNameError:
            station = None
        if station is None:
            return ProblemPage(shell, 404, NO_STATION, NO_STATION_REMEDY)
        welds, _ = source.welds(station.id, WELDS_OF_A_STATION, None)
        return station_page(
            plant,
            station,
            source.live().get(station.id),
            shell,
            alarms=source.alarms(),
            procedures=source.procedures(),
            welds=welds,
            findings=source.findings(station.id),
            budgets=source.budgets(station.id),
        )


def page_router(services: Services) -> APIRouter:
    """Give the routes; AssetError at once if the browser files are not in order."""
    return router_over(ServiceSources(services))


def router_over(sources: PageSources) -> APIRouter:
    """Give the routes over any sources."""
    pages = Pages(sources, renderer())
    router = APIRouter(include_in_schema=False)
    take(router, language_routes.router)

    @router.get("/")
    def floor(request: Request) -> Response:
        return pages.read(request, pages.floor)

    @router.get("/stations/{site}/{station}")
    def station(request: Request, site: str, station: str) -> Response:
        return pages.read(request, lambda shell: pages.station(shell, site, station))

    @router.get("/static/{fingerprint}/{path:path}")
    async def static(fingerprint: str, path: str) -> Response:
        asset = pages.renderer.assets.find(fingerprint, path)
        if asset is None:
            return Response("no such file\n", 404, media_type="text/plain")
        headers = {"Cache-Control": KEEP_FOR_EVER, "X-Content-Type-Options": "nosniff"}
        return Response(asset.body, media_type=asset.media_type, headers=headers)

    return router
