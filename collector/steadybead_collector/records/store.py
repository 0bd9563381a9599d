"""The records store as a whole: what the collector asks for, and what the API needs beside it."""

import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import sqlalchemy as sa

from steadybead_collector.records import changes, schema
from steadybead_collector.records.access import AccessRecords
from steadybead_collector.records.accounts import AccountRecords
from steadybead_collector.records.alarms import AlarmRecords
from steadybead_collector.records.audit import AuditTrail
from steadybead_collector.records.claims import Claims
from steadybead_collector.records.cuts import CutRecords
from steadybead_collector.records.database import Database, connect
from steadybead_collector.records.filter_changes import FilterChangeRecords
from steadybead_collector.records.findings import FindingRecords
from steadybead_collector.records.instruments import InstrumentRecords
from steadybead_collector.records.migrate import upgrade
from steadybead_collector.records.notices import NoticeRecords
from steadybead_collector.records.plants import PlantRecords
from steadybead_collector.records.procedure_file import read_procedures
from steadybead_collector.records.procedures import ProcedureRecords
from steadybead_collector.records.receipts import Receipts
from steadybead_collector.records.refusals import Quarantine
from steadybead_collector.records.states import StateRecords
from steadybead_collector.records.welds import WeldRecords
from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Plant
from steadybead_domain.ports import Change, Receipt, Refused
from steadybead_domain.welds import WeldEvent

START_SET_AUTHOR = "start set"


class Records:
    """All records of one plant; usable from any thread, and from two processes at once.

    Implements the kernel's `FactsStore`; its rooms (`welds`, `alarms`, …) serve the API.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._receipts = Receipts(database)
        self._states = StateRecords(database)
        self.welds = WeldRecords(database)
        self.alarms = AlarmRecords(database)
        self.notices = NoticeRecords(database)
        self.findings = FindingRecords(database)
        self.filter_changes = FilterChangeRecords(database)
        self.procedures = ProcedureRecords(database)
        self.cuts = CutRecords(database)
        self.instruments = InstrumentRecords(database)
        self.refusals = Quarantine(database)
        self.plants = PlantRecords(database)
        self.access = AccessRecords(database)
        self.accounts = AccountRecords(database, self.access)
        self.audit = AuditTrail(database)
        self.claims = Claims(database)

    def receipts(self, wanted: Sequence[Receipt]) -> list[Receipt]:
        """Remember receipts; where (message id, topic, hash) is known, give the first one."""
        return self._receipts.remember(wanted)

    def quarantine(self, rows: Sequence[Refused]) -> None:
        """Keep refusals; a repeat only counts."""
        self.refusals.add(rows)

    def accept_plant(self, text: str, plant: Plant, now: int) -> Plant:
        """Keep the version if its hash is not the newest one's; give it with its number."""
        return self.plants.accept(text, plant, now)

    def add_weld_event(self, event: WeldEvent) -> bool:
        """Keep the event; False if it repeats one or has no record to stop on that gun."""
        return self.welds.add(event)

    def add_alarm_facts(self, facts: Sequence[AlarmFact]) -> None:
        """Keep facts; a repeat is a no-op."""
        self.alarms.add_facts(facts)

    def add_findings(self, findings: Sequence[Finding]) -> None:
        """Keep findings; a repeat (same identity, told at the same time) is a no-op."""
        self.findings.add(findings)

    def changes_since(
        self, position: int, at_most: int = changes.AT_MOST
    ) -> tuple[int, list[Change]]:
        """Give changes after `position` in order; ask again from the position it gives."""
        with self._database.read() as connection:
            return changes.changes_since(connection, position, at_most)

    def save_states(self, position: int, states: Mapping[StationId, bytes]) -> None:
        """Keep diagnosis states that have seen the journal up to `position`, all or none."""
        self._states.save(position, states)

    def load_state(self, station: StationId) -> tuple[int, bytes] | None:
        """Give the newest saved state."""
        return self._states.load(station)

    def check(self) -> None:
        """Raise StoreError if the database does not answer."""
        with self._database.read() as connection:
            connection.execute(sa.select(sa.func.max(schema.change.c.seq)))

    def close(self) -> None:
        """Close; idempotent."""
        self._database.close()


def _system_clock() -> int:
    return time.time_ns() // 1000


def open_records(
    url: str,
    data_dir: Path,
    clock: Callable[[], int] = _system_clock,
    password: str | None = None,
) -> Records:
    """Open the store, bring its tables up to date and load the start set into an empty one.

    `url`: `sqlite` for `records.db` in `data_dir`, or `postgresql://user@host/database`, with
    the `password` beside it. StoreError if it cannot be opened or was written by a newer version.
    """
    database = connect(url, data_dir, password)
    try:
        upgrade(database)
        records = Records(database)
        records.welds.complete_index()
        if not records.procedures.newest():
            records.procedures.seed(read_procedures(), START_SET_AUTHOR, clock())
    except BaseException:
        database.close()
        raise
    return records
