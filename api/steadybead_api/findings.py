"""Findings as they stand now: what the diagnosis told, beside what people have done since."""

from functools import cached_property

from steadybead_api.due_items import due_now
from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_collector.records.findings import Told
from steadybead_collector.records.paging import Key
from steadybead_domain.diagnosis.standing import Standing, Urgency, ended, finding_id, urgency_of
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.maintenance import FilterChange

MOST_SCANNED = 20_000


class Findings:
    """Reads what is needed once, for one answer."""

    def __init__(self, services: Services, measuring: Measuring | None = None) -> None:
        self._services = services
        self._measuring = measuring or Measuring(services)
        self._now = services.clock()

    @cached_property
    def changes(self) -> list[FilterChange]:
        """List all work on filters, by time."""
        return self._services.records.filter_changes.all()

    @cached_property
    def _fitted(self) -> list[tuple[ChannelId, int]]:
        return [(f.fitting.channel, f.fitting.start) for f in self._measuring.fittings]

    def due(self, station: StationId | None = None) -> list[Standing]:
        """Give what holds of sensors and calibrations now."""
        found = due_now(self._services, self._measuring, station)
        return [Standing(finding_id(f), f, Urgency.SOON) for f in found]

    def get(self, finding: str) -> Standing | None:
        """Find one by its id."""
        told = self._services.records.findings.get(finding)
        if told is not None:
            return self._standing(told)
        return next((s for s in self.due() if s.id == finding), None)

    def page(
        self,
        limit: int,
        after: Key | None = None,
        station: StationId | None = None,
        *,
        is_open: bool | None = None,
    ) -> tuple[list[Standing], Key | None]:
        """Give findings, the newest first, and the key of the next page; scans a bounded number."""
        found: list[Standing] = []
        scanned = 0
        while True:
            page = self._services.records.findings.page(
                limit - len(found), after, station, only_newest=is_open is True
            )
            standing = [self._standing(t) for t in page.items]
            found += [s for s in standing if is_open in (None, s.ended is None)]
            scanned += len(standing)
            after = page.next
            if after is None or len(found) >= limit or scanned >= MOST_SCANNED:
                return found, after

    def open(self, station: StationId | None = None) -> list[Standing]:
        """Give the diagnosis's findings that stand, the most urgent first, then the newest."""
        found, _ = self.page(MOST_SCANNED, None, station, is_open=True)
        known = {s.id for s in self._services.plant().stations}
        return sorted(
            (s for s in found if s.finding.station in known),
            key=lambda s: (s.urgency, -s.finding.since),
        )

    def _standing(self, told: Told) -> Standing:
        item = told.finding
        end = ended(item, told.superseded, self.changes, self._fitted, self._now)
        return Standing(told.id, item, urgency_of(item), end)
