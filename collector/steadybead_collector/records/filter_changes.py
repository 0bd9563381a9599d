"""Work on intake filters: who did what and when; rows are only ever added."""

from steadybead_collector.records import revisions
from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page
from steadybead_collector.records.revisions import Act, Entry
from steadybead_collector.records.schema import filter_change as table
from steadybead_domain.calibration.validation import Problem
from steadybead_domain.ids import StationId
from steadybead_domain.maintenance import FilterChange, change_problems


class FilterChangeRecords:
    """Each entry has an id of its own; the same one told again changes nothing."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep(self, item: FilterChange, act: Act) -> tuple[FilterChange, bool]:
        """Keep an entry; give the one that stands, and whether it is new.

        Raises NotKeptError with all mistakes, or TakenError if the id has other contents.
        """
        entry = Entry(item.id, 1, str(item.station), item.time, item.to_json())

        def problems() -> list[Problem]:
            return [Problem(at, text) for at, text in change_problems(item, act.now)]

        with self._database.write() as connection:
            content, is_new = revisions.keep(connection, table, entry, act, problems)
        return FilterChange.from_json(content), is_new

    def get(self, change: str) -> FilterChange | None:
        """Find one entry."""
        with self._database.read() as connection:
            found = revisions.newest(connection, table, table.c.id == change)
        return FilterChange.from_json(found[0]) if found else None

    def all(self, station: StationId | None = None, since: int = 0) -> list[FilterChange]:
        """List the entries of one station or of all from a time on, by time."""
        wanted = [table.c.at >= since]
        if station is not None:
            wanted.append(table.c.about == str(station))
        with self._database.read() as connection:
            return [FilterChange.from_json(c) for c in revisions.newest(connection, table, *wanted)]

    def page(
        self, limit: int, after: Key | None = None, station: StationId | None = None
    ) -> Page[FilterChange]:
        """List entries, the latest work first."""
        wanted = [] if station is None else [table.c.about == str(station)]
        with self._database.read() as connection:
            found = revisions.page(connection, table, limit, after, *wanted)
        return Page([FilterChange.from_json(c) for c in found.items], found.next)
