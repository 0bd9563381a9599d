"""The pages of the alarms and of what is to be done: gather what they show, render them."""

from collections.abc import Iterator
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response

from steadybead_api.alarm_figures import figures
from steadybead_api.page_routes import Pages
from steadybead_api.page_sources import ServiceSources
from steadybead_api.services import Services
from steadybead_api.work import work_now
from steadybead_dashboards.alarm import alarm_page
from steadybead_dashboards.alarm_list import alarm_list_page
from steadybead_dashboards.alarm_quality import (
    SPANS,
    NoticeFacts,
    ReceiverFacts,
    alarm_quality_page,
)
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.signin import ProblemPage
from steadybead_dashboards.work_list import work_list_page
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.times import DAY

NOTICES_SHOWN = 20
NO_ALARM = mark("No such alarm")
NO_ALARM_REMEDY = mark("Check the address, or find the alarm in the list of alarms.")


class AlarmPages:
    """Makes the pages from the services."""

    def __init__(self, services: Services) -> None:
        self._services = services

    def listed(self, shell: Shell) -> Page:
        """Build the list of what is not normal."""
        services = self._services
        return alarm_list_page(services.plant(), services.live.snapshot(shell.now).alarms, shell)

    def one(self, shell: Shell, alarm: str) -> Page:
        """Build the page of one alarm."""
        services = self._services
        found = services.records.alarms.get(alarm)
        if found is None:
            return ProblemPage(shell, 404, NO_ALARM, NO_ALARM_REMEDY)
        stands = alarm_state(found.facts, found.acts, shell.now)
        return alarm_page(services.plant(), stands, found.facts, found.acts, shell)

    def work(self, shell: Shell) -> Page:
        """Build the work list."""
        return work_list_page(self._services.plant(), work_now(self._services), shell)

    def quality(self, shell: Shell, days: int) -> Page:
        """Build the page of figures."""
        services, now = self._services, shell.now
        days = days if days in SPANS else 1
        found = figures(services, now - days * DAY, now)
        return alarm_quality_page(
            services.plant(),
            shell,
            days,
            found.quality,
            found.operator_hours,
            found.facts,
            list(self._receivers()),
            list(self._notices()),
        )

    def _receivers(self) -> Iterator[ReceiverFacts]:
        for target in self._services.targets:
            receiver = target.receiver
            newest = self._services.records.notices.newest(receiver.name)
            state = "" if newest is None else newest.state
            failed = newest is not None and newest.attempts and state != "delivered"
            why = newest.attempts[-1].detail if newest is not None and failed else ""
            roles = ", ".join(sorted(receiver.roles))
            yield ReceiverFacts(receiver.name, target.way, roles, state, why)

    def _notices(self) -> Iterator[NoticeFacts]:
        for sent in self._services.records.notices.page(NOTICES_SHOWN).items:
            notice, over = sent.notice, sent.state == "delivered"
            why = "" if over or not sent.attempts else sent.attempts[-1].detail
            yield NoticeFacts(
                notice.time,
                notice.receiver,
                notice.subject,
                notice.body,
                sent.state,
                len(sent.attempts),
                why,
            )


def alarm_router(services: Services) -> APIRouter:
    """Give the routes of the pages."""
    pages = Pages(ServiceSources(services), renderer())
    made = AlarmPages(services)
    router = APIRouter(include_in_schema=False)

    @router.get("/alarms")
    def alarms(request: Request) -> Response:
        return pages.read(request, made.listed)

    @router.get("/alarms/{alarm}")
    def alarm(request: Request, alarm: Annotated[str, Path(max_length=128)]) -> Response:
        return pages.read(request, lambda shell: made.one(shell, alarm))

    @router.get("/work-list")
    def work(request: Request) -> Response:
        return pages.read(request, made.work)

    @router.get("/alarm-quality")
    def quality(request: Request, days: Annotated[int, Query(ge=1, le=90)] = 1) -> Response:
        return pages.read(request, lambda shell: made.quality(shell, days))

    return router
