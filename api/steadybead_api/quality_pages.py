"""The quality page: gather what it shows, render it."""

from collections.abc import Iterator
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import Response

from steadybead_api.page_routes import Pages
from steadybead_api.page_sources import ServiceSources
from steadybead_api.services import Services
from steadybead_collector.records.welds import WeldSearch
from steadybead_dashboards.quality import QualityFacts, quality_page
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.shell import Shell
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Station
from steadybead_domain.procedures import Procedure
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, HOUR, MINUTE
from steadybead_domain.unrecorded import (
    HOT_BELOW_WINDOW_C,
    HOT_WITHOUT_WINDOW_C,
    Stretch,
    hot_stretches,
    unrecorded,
)
from steadybead_domain.verdict.model import Conclusion

DAYS: Final = 30
HOURS: Final = 24
DOUBTFUL: Final = 10
MOST_RECORDS: Final = 2_000


class QualityPages:
    """Makes the page from the services."""

    def __init__(self, services: Services) -> None:
        self._services = services

    def page(self, shell: Shell) -> Page:
        """Build the page."""
        services = self._services
        welds = services.records.welds
        first = shell.now - DAYS * DAY
        search = WeldSearch(began_from=first, verdict=Conclusion.DOES_NOT_CONFORM.value)
        doubtful = welds.page(search, DOUBTFUL).items
        newest = {r.procedure.id: r for r in services.records.procedures.newest()}
        procedures = {name: r.procedure for name, r in newest.items()}
        used = {s.procedure for s in services.plant().stations}
        facts = QualityFacts(
            DAYS,
            welds.verdict_counts(first, shell.now),
            doubtful,
            welds.verdict_words([w.id for w in doubtful]),
            HOURS,
            dict(self._hot(procedures, shell.now)),
            [r.procedure for n, r in newest.items() if n in used and r.approved_at is None],
        )
        return quality_page(services.plant(), facts, procedures, shell)

    def _hot(
        self, procedures: dict[str, Procedure], now: int
    ) -> Iterator[tuple[tuple[StationId, str], list[Stretch]]]:
        for station in self._services.plant().stations:
            held_to = procedures.get(station.procedure or "")
            for gun in station.guns:
                yield (station.id, gun), unrecorded_of(self._services, station, gun, held_to, now)


def unrecorded_of(
    services: Services, station: Station, gun: str, procedure: Procedure | None, now: int
) -> list[Stretch]:
    """Give the stretches of the last hours in which a gun was hot without a record."""
    channel = station.channel_of(Quantity.NOZZLE_TEMPERATURE, gun)
    if channel is None:
        return []
    end = now - now % MINUTE
    start = end - HOURS * HOUR
    points = (end - start) // MINUTE
    nozzle = services.readings.buckets(channel.id, start, end, points)
    stand = station.channel_of(Quantity.IN_STAND, gun)
    stood = None if stand is None else services.readings.buckets(stand.id, start, end, points)
    hot = hot_stretches(nozzle, _threshold(procedure), stood)
    if not hot:
        return []
    search = WeldSearch(station.id, gun, began_from=start - DAY, began_before=end)
    records = services.records.welds.page(search, MOST_RECORDS).items
    return unrecorded(hot, [(w.start, now if w.stop is None else w.stop) for w in records])


def quality_router(services: Services) -> APIRouter:
    """Give the route of the page."""
    pages = Pages(ServiceSources(services), renderer())
    made = QualityPages(services)
    router = APIRouter(include_in_schema=False)

    @router.get("/quality")
    def quality(request: Request) -> Response:
        return pages.read(request, made.page)

    return router


def _threshold(procedure: Procedure | None) -> float:
    low = None if procedure is None else procedure.nozzle_temperature.low
    return HOT_WITHOUT_WINDOW_C if low is None else low - HOT_BELOW_WINDOW_C
