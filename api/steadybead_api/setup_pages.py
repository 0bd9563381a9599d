"""The set-up page: gather what it shows, render it for those who set up."""

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from steadybead_api.access import SETTING_UP, current_actor
from steadybead_api.heard import HeardChannel, heard_channels, heard_stations
from steadybead_api.page_routes import Pages
from steadybead_api.page_sources import ServiceSources
from steadybead_api.quarantine_routes import GATHERED_FOR
from steadybead_api.services import Services
from steadybead_api.setup_routes import LARGEST_TEXT
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.expected import expected
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.setup import ChannelFacts, LostLink, RefusalFacts, setup_page
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.signin import ProblemPage

MOST_REASONS: Final = 100
NOT_FOR_YOU = mark("Set-up is for maintenance and administrators")
NOT_FOR_YOU_REMEDY = mark("Sign in as one, or ask one to look.")


class SetupPages:
    """Makes the page from the services."""

    def __init__(self, pages: Pages, services: Services) -> None:
        self._pages, self._services = pages, services

    def setup(self, request: Request) -> Response:
        """Show the page to those who may set up."""
        shell, actor = self._pages.shell(request), current_actor(request)
        if actor is None:
            return RedirectResponse("/signin?next=/setup", 303)
        if actor.role not in SETTING_UP:
            return self._pages.answer(ProblemPage(shell, 403, NOT_FOR_YOU, NOT_FOR_YOU_REMEDY), 403)
        return self._pages.answer(self._page(shell))

    def _page(self, shell: Shell) -> Page:
        services = self._services
        heard = heard_channels(services)
        clocks = {s.station: s.clock_ahead_s for s in heard_stations(services, heard)}
        reasons = services.records.refusals.reasons(shell.now - GATHERED_FOR, MOST_REASONS)
        return setup_page(
            services.plant(),
            [self._facts(h) for h in heard],
            clocks,
            [
                RefusalFacts(r.newest.id, r.newest.refused, r.count, r.last_received)
                for r in reasons
            ],
            shell,
            LARGEST_TEXT // 1024,
            self._lost(shell),
        )

    def _facts(self, heard: HeardChannel) -> ChannelFacts:
        waits_for = expected(heard.channel, self._services.live.root)
        return ChannelFacts(
            heard.channel, heard.reading, heard.per_second, heard.state, heard.hint, waits_for
        )

    def _lost(self, shell: Shell) -> LostLink | None:
        live = self._services.live
        since = live.unreachable_since
        if since is None:
            return None
        return LostLink(shell.moment(since), live.address, live.refusal)


def setup_router(services: Services) -> APIRouter:
    """Give the route of the page."""
    made = SetupPages(Pages(ServiceSources(services), renderer()), services)
    router = APIRouter(include_in_schema=False)

    @router.get("/setup")
    def setup(request: Request) -> Response:
        return made.setup(request)

    return router
