"""Housekeeping in short pieces: merge what is due, trim the journal, keep the WAL small."""

from threading import Lock

from steadybead_collector.stores import journal
from steadybead_collector.stores.database import Database, transaction
from steadybead_collector.stores.merge import Due, Plan, Situation, next_piece, plan, seal, write
from steadybead_collector.stores.recent import Recent
from steadybead_collector.stores.windows import WINDOW
from steadybead_domain.times import SECOND

_PLAN_EVERY = 5 * SECOND


class Housekeeper:
    """One piece at a time, whichever thread asks; packing runs outside the writer's lock."""

    def __init__(self, database: Database, recent: Recent) -> None:
        self._database = database
        self._recent = recent
        self._lock = Lock()
        self._plan = Plan([], recent.merged)
        self._planned_at: int | None = None

    def work(self) -> bool:
        """Do one piece; True if more waits."""
        with self._lock:
            self._database.check_open()
            if self._database.read_only:
                return False
            self._database.checkpoint()
            with self._database.lock:
                self._recent.tail.tidy()
            if not self._plan.due:
                self._make_plan()
            if self._plan.due:
                self._merge(self._plan.due)
                return True
            return self._trim(self._plan.merged)

    def seal(self, before: int) -> None:
        """Merge all windows that ended by `before`."""
        with self._lock:
            due = plan(self._situation(), ended_by=before).due
            self._plan = Plan([], self._recent.merged)
            self._planned_at = None
            while due:
                self._merge(due)

    def close(self) -> None:
        """Wait for the piece that is being done, then close the file."""
        with self._lock:
            self._database.close()

    def _make_plan(self) -> None:
        now = self._recent.clock.now
        if self._planned_at is None or abs(now - self._planned_at) >= _PLAN_EVERY:
            self._planned_at = now
            self._plan = plan(self._situation())

    def _situation(self) -> Situation:
        with self._database.lock:
            self._database.check_open()
            return Situation.of(self._recent)

    def _merge(self, due: list[Due]) -> None:
        """Merge the first few and take them off the list."""
        recent = self._recent
        count = next_piece(due)
        with self._database.reading() as connection:
            sealed = [seal(connection, recent.names[d.channel], d) for d in due[:count]]
        with self._database.writing() as connection:
            with transaction(connection):
                for item in sealed:
                    write(connection, item, recent.newest.stored(item.due.channel))
            for item in sealed:
                begin = item.due.window * WINDOW
                recent.tail.remove(item.due.channel, begin, begin + WINDOW, item.due.upto)
        del due[:count]

    def _trim(self, merged: int) -> bool:
        """Note what is merged, and delete what is released too; True if more waits."""
        with self._database.writing() as connection:
            if merged > self._recent.merged:
                with transaction(connection):
                    journal.set_meta(connection, "merged", merged)
                self._recent.merged = merged
            return journal.trim(connection, min(merged, journal.meta(connection, "released")))
