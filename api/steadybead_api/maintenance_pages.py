"""The maintenance page: gather what it shows, render it."""

from collections.abc import Container

from fastapi import APIRouter, Request
from fastapi.responses import Response

from steadybead_api.due_items import due_now
from steadybead_api.filter_effect import drop_now, effect
from steadybead_api.findings import Findings
from steadybead_api.measuring import Measuring
from steadybead_api.page_routes import Pages
from steadybead_api.page_sources import ServiceSources
from steadybead_api.services import Services
from steadybead_dashboards.maintenance import Done, FilterFacts, maintenance_page
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.shell import Shell
from steadybead_domain.ids import ChannelId
from steadybead_domain.maintenance import FilterChange
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY

TOLD_AT_MOST = 200
TOLD_FOR = 90 * DAY
DONE_ROWS = 12


class MaintenancePages:
    """Makes the page from the services."""

    def __init__(self, services: Services) -> None:
        self._services = services

    def page(self, shell: Shell) -> Page:
        """Build the page."""
        services = self._services
        measuring = Measuring(services)
        findings = Findings(services, measuring)
        plant = services.plant()
        known = {s.id for s in plant.stations}
        drops = [c.id for c in plant.channels() if c.quantity is Quantity.FILTER_PRESSURE_DROP]
        heard = services.readings.latest(drops)
        return maintenance_page(
            plant,
            shell,
            findings.open(),
            [f for f in due_now(services, measuring) if f.station in known],
            {s.id: self._filter(s, findings.changes, shell.now, heard) for s in plant.stations},
            self._done(findings.changes),
        )

    def _filter(
        self, station: Station, changes: list[FilterChange], now: int, heard: Container[ChannelId]
    ) -> FilterFacts:
        own = [c for c in changes if c.station == station.id and c.begins_anew]
        changed = own[-1] if own else None
        since = max(now - TOLD_FOR, 0 if changed is None else changed.time)
        records = self._services.records.findings
        told = records.of_kinds(station.id, "filter_", since, TOLD_AT_MOST)
        channel = station.channel_of(Quantity.FILTER_PRESSURE_DROP)
        ever = channel is None or channel.id in heard
        return FilterFacts(told, drop_now(self._services, station, changed), changed, ever)

    def _done(self, changes: list[FilterChange]) -> list[Done]:
        latest = sorted(changes, key=lambda c: -c.time)[:DONE_ROWS]
        return [Done(c, *effect(self._services, c, changes)) for c in latest]


def maintenance_router(services: Services) -> APIRouter:
    """Give the route of the page."""
    pages = Pages(ServiceSources(services), renderer())
    made = MaintenancePages(services)
    router = APIRouter(include_in_schema=False)

    @router.get("/maintenance")
    def maintenance(request: Request) -> Response:
        return pages.read(request, made.page)

    return router
