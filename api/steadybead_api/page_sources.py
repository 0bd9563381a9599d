"""What the pages ask of the rest of the program, and how the services answer."""

import re
from collections.abc import Mapping, Sequence
from typing import Final, Protocol

from fastapi import Request

from steadybead_api import access
from steadybead_api.findings import Findings
from steadybead_api.sensors import sensors
from steadybead_api.services import Services
from steadybead_collector.records.welds import WeldSearch
from steadybead_dashboards.shell import Person
from steadybead_domain.alarms.model import Alarm
from steadybead_domain.diagnosis.standing import Standing
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.live import LiveStation
from steadybead_domain.plant import Plant
from steadybead_domain.procedures import Procedure
from steadybead_domain.uncertainty.budget import Budget
from steadybead_domain.welds import Weld

ACTS: Final = {
    "weld": access.WELDING,
    "acknowledge": access.ACKNOWLEDGING,
    "shelve": access.SHELVING,
    "see welders": access.SEEING_WELDERS,
    "check": access.CHECKING,
    "calibrate": access.CALIBRATING,
    "maintain": access.MAINTAINING,
    "specify": access.SPECIFYING,
    "supervise": access.SUPERVISING,
    "administer": access.ADMINISTERING,
    "set up": access.SETTING_UP,
}
_CURSOR = re.compile(r"(\d{1,19})\.(\d{1,19})")


class BadCursorError(ValueError):
    """A cursor that no page of the list gave."""


class PageSources(Protocol):
    """Everything a page shows comes through here. Times are µs."""

    def now(self) -> int:
        """Tell the time."""

    def person(self, request: Request) -> Person | None:
        """Tell who is signed in."""

    def csrf(self, request: Request) -> str:
        """Give the token that this session's acts must carry; empty without a session."""

    def may_read(self, request: Request) -> bool:
        """Tell whether whoever asks may read."""

    def plant(self) -> Plant:
        """Give the plant file's version that holds now."""

    def live(self) -> Mapping[StationId, LiveStation]:
        """Give each station as it is shown now."""

    def link(self) -> bool:
        """Tell whether the broker can be reached."""

    def alarms(self) -> Sequence[Alarm]:
        """Give the alarms that are not normal."""

    def findings(self, station: StationId | None = None) -> Sequence[Standing]:
        """Give the findings that stand, of one station or of all, the most urgent first."""

    def procedures(self) -> Mapping[str, Procedure]:
        """Give the latest revision of each procedure by its id."""

    def welds(
        self, station: StationId | None, limit: int, cursor: str | None
    ) -> tuple[Sequence[Weld], str | None]:
        """Give records, newest first, and the cursor of the next page; BadCursorError."""

    def welds_since(self, time: int, limit: int) -> tuple[Sequence[Weld], bool]:
        """Give records that began at or after a time, newest first, and whether there are more."""

    def verdict_words(self, welds: Sequence[Weld]) -> Mapping[str, tuple[str, int]]:
        """Give word and excursions of the verdicts by record."""

    def budgets(self, station: StationId) -> Mapping[ChannelId, Budget]:
        """Give the uncertainty budgets of the newest values."""


class ServiceSources:
    """The pages' sources over the running services."""

    def __init__(self, services: Services) -> None:
        self._services = services

    def now(self) -> int:
        """Tell the time."""
        return self._services.clock()

    def person(self, request: Request) -> Person | None:
        """Tell who is signed in."""
        actor = access.current_actor(request)
        if actor is None:
            return None
        can = frozenset(act for act, roles in ACTS.items() if actor.role in roles)
        return Person(actor.name, actor.role.value, can)

    def csrf(self, request: Request) -> str:
        """Give the token that this session's acts must carry; empty without a session."""
        return access.csrf_token(request)

    def may_read(self, request: Request) -> bool:
        """Tell whether whoever asks may read."""
        return self._services.access.read == "open" or access.current_actor(request) is not None

    def plant(self) -> Plant:
        """Give the plant file's version that holds now."""
        return self._services.plant()

    def live(self) -> Mapping[StationId, LiveStation]:
        """Give each station as it is shown now."""
        return {s.station: s for s in self._services.live.snapshot(self.now()).stations}

    def link(self) -> bool:
        """Tell whether the broker can be reached."""
        return self._services.live.reachable

    def alarms(self) -> Sequence[Alarm]:
        """Give the alarms that are not normal."""
        return self._services.live.snapshot(self.now()).alarms

    def findings(self, station: StationId | None = None) -> Sequence[Standing]:
        """Give the findings that stand, of one station or of all, the most urgent first."""
        return Findings(self._services).open(station)

    def procedures(self) -> Mapping[str, Procedure]:
        """Give the latest revision of each procedure by its id."""
        newest = self._services.records.procedures.newest()
        return {row.procedure.id: row.procedure for row in newest}

    def welds(
        self, station: StationId | None, limit: int, cursor: str | None
    ) -> tuple[Sequence[Weld], str | None]:
        """Give records, newest first, and the cursor of the next page; BadCursorError."""
        search = WeldSearch(station=station)
        page = self._services.records.welds.page(search, limit, page_key(cursor))
        return page.items, None if page.next is None else ".".join(map(str, page.next))

    def welds_since(self, time: int, limit: int) -> tuple[Sequence[Weld], bool]:
        """Give records that began at or after a time, newest first, and whether there are more."""
        page = self._services.records.welds.page(WeldSearch(began_from=time), limit)
        return page.items, page.next is not None

    def verdict_words(self, welds: Sequence[Weld]) -> Mapping[str, tuple[str, int]]:
        """Give word and excursions of the verdicts by record."""
        return self._services.records.welds.verdict_words([w.id for w in welds])

    def budgets(self, station: StationId) -> Mapping[ChannelId, Budget]:
        """Give the uncertainty budgets of the newest values."""
        found = sensors(self._services, station)
        return {s.channel.id: s.valued.worth.budget for s in found if s.valued is not None}


def page_key(cursor: str | None) -> tuple[int, int] | None:
    """Read the cursor of a list page; BadCursorError."""
    if not cursor:
        return None
    match = _CURSOR.fullmatch(cursor)
    if match is None:
        raise BadCursorError(cursor[:60])
    return int(match[1]), int(match[2])
