"""Instruments, fittings, calibrations and reference checks: kept by id and revision for ever."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy.engine import Connection

from steadybead_collector.records import revisions
from steadybead_collector.records.database import Database
from steadybead_collector.records.paging import Key, Page
from steadybead_collector.records.revisions import Act, Entry
from steadybead_collector.records.schema import calibration, fitting, instrument, reference_check
from steadybead_domain.calibration.check_validation import check_problems
from steadybead_domain.calibration.codec import (
    calibration_from_json,
    check_from_json,
    fitting_from_json,
    instrument_from_json,
    to_json,
)
from steadybead_domain.calibration.instrument_validation import (
    fitting_to_channel_problems,
    instrument_problems,
)
from steadybead_domain.calibration.model import Calibration, Fitting, Instrument
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.calibration.validation import (
    Problem,
    calibration_problems,
    fitting_problems,
)
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel


@dataclass(frozen=True, slots=True)
class FittingRecord:
    """One revision of a fitting; a withdrawn one counts for nothing."""

    id: str
    fitting: Fitting
    revision: int = 1
    withdrawn: bool = False


class InstrumentRecords:
    """What the instruments are, where they sit and what is known of their errors.

    `keep_…` give the revision that stands, and whether it is new; they raise NotKeptError with
    all mistakes, or TakenError, and store nothing then.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep(self, item: Instrument, act: Act) -> tuple[Instrument, bool]:
        """Keep a revision of an instrument."""
        entry = Entry(item.id, item.revision, item.serial, item.entered, to_json(item))

        with self._database.write() as connection:
            others = [instrument_from_json(c) for c in revisions.newest(connection, instrument)]
            content, is_new = revisions.keep(
                connection, instrument, entry, act, lambda: instrument_problems(item, others)
            )
        return instrument_from_json(content), is_new

    def keep_fitting(
        self, item: FittingRecord, channel: Channel, act: Act
    ) -> tuple[FittingRecord, bool]:
        """Keep a revision of a fitting to a channel."""
        own = item.fitting
        entry = Entry(item.id, item.revision, str(own.channel), own.start, _fitting_content(item))
        with self._database.write() as connection:

            def problems() -> list[Problem]:
                found = _instrument(connection, own.instrument)
                others = [f.fitting for f in _fittings(connection) if f.id != item.id]
                known = [] if item.withdrawn else fitting_problems(own, others, act.now)
                return [*fitting_to_channel_problems(own, found, channel, act.now), *known]

            content, is_new = revisions.keep(connection, fitting, entry, act, problems)
        return _fitting_of(content), is_new

    def keep_calibration(self, item: Calibration, act: Act) -> tuple[Calibration, bool]:
        """Keep a revision of a calibration."""
        entry = Entry(item.id, item.revision, item.instrument, item.performed, to_json(item))
        with self._database.write() as connection:

            def problems() -> list[Problem]:
                found = _instrument(connection, item.instrument)
                if found is None:
                    return [Problem("instrument", _unknown(item.instrument))]
                others = _calibrations(connection, item.instrument)
                return calibration_problems(item, found, others, act.now)

            content, is_new = revisions.keep(connection, calibration, entry, act, problems)
        return calibration_from_json(content), is_new

    def keep_check(
        self, item: ReferenceCheck, channel: Channel, act: Act
    ) -> tuple[ReferenceCheck, bool]:
        """Keep a revision of a reference check of a channel."""
        entry = Entry(item.id, item.revision, str(item.channel), item.time, to_json(item))
        with self._database.write() as connection:

            def problems() -> list[Problem]:
                return check_problems(item, channel, _checks(connection, item.channel), act.now)

            content, is_new = revisions.keep(connection, reference_check, entry, act, problems)
        return check_from_json(content), is_new

    def all(self) -> list[Instrument]:
        """List the newest revision of each instrument, in the order of their entry."""
        with self._database.read() as connection:
            return [instrument_from_json(c) for c in revisions.newest(connection, instrument)]

    def get(self, instrument_id: str) -> Instrument | None:
        """Find the newest revision of an instrument."""
        with self._database.read() as connection:
            return _instrument(connection, instrument_id)

    def revisions(self, instrument_id: str) -> list[Instrument]:
        """List all revisions of an instrument, the oldest first."""
        with self._database.read() as connection:
            found = revisions.every(connection, instrument, instrument.c.id == instrument_id)
            return [instrument_from_json(c) for c in found]

    def fittings(self, channel: ChannelId | None = None) -> list[FittingRecord]:
        """List the fittings that stand, of one channel or of all, by their start."""
        with self._database.read() as connection:
            return _fittings(connection, channel)

    def calibrations(self, instrument_id: str | None = None) -> list[Calibration]:
        """List every revision of the calibrations of one instrument, or of all."""
        with self._database.read() as connection:
            return _calibrations(connection, instrument_id)

    def calibration_revisions(self, calibration_id: str) -> list[Calibration]:
        """List all revisions of one calibration, the oldest first."""
        with self._database.read() as connection:
            found = revisions.every(connection, calibration, calibration.c.id == calibration_id)
            return [calibration_from_json(c) for c in found]

    def calibration_page(
        self, limit: int, after: Key | None = None, instrument_id: str | None = None
    ) -> Page[Calibration]:
        """List the newest revision of each calibration, the latest performed first."""
        own = [] if instrument_id is None else [calibration.c.about == instrument_id]
        with self._database.read() as connection:
            found = revisions.page(connection, calibration, limit, after, *own)
        return Page([calibration_from_json(c) for c in found.items], found.next)

    def checks(self, channel: ChannelId, until: int | None = None) -> list[ReferenceCheck]:
        """List the reference checks of a channel, newest revisions by time, up to a time."""
        with self._database.read() as connection:
            return _checks(connection, channel, until)

    def check_revisions(self, check_id: str) -> list[ReferenceCheck]:
        """List all revisions of one reference check, the oldest first."""
        with self._database.read() as connection:
            wanted = reference_check.c.id == check_id
            return [
                check_from_json(c) for c in revisions.every(connection, reference_check, wanted)
            ]

    def check_page(
        self,
        limit: int,
        after: Key | None = None,
        channel: ChannelId | None = None,
        station: StationId | None = None,
    ) -> Page[ReferenceCheck]:
        """List the newest revision of each reference check, the latest first."""
        about = reference_check.c.about
        wanted = [] if channel is None else [about == str(channel)]
        if station is not None:
            wanted.append(about.startswith(f"{station}/", autoescape=True))
        with self._database.read() as connection:
            found = revisions.page(connection, reference_check, limit, after, *wanted)
        return Page([check_from_json(c) for c in found.items], found.next)


def _unknown(instrument_id: str) -> str:
    return f"there is no instrument {instrument_id}: enter it first"


def _instrument(connection: Connection, instrument_id: str) -> Instrument | None:
    found = revisions.newest(connection, instrument, instrument.c.id == instrument_id)
    return instrument_from_json(found[0]) if found else None


def _fittings(connection: Connection, channel: ChannelId | None = None) -> list[FittingRecord]:
    wanted = [] if channel is None else [fitting.c.about == str(channel)]
    found = [_fitting_of(c) for c in revisions.newest(connection, fitting, *wanted)]
    return [f for f in found if not f.withdrawn]


def _calibrations(connection: Connection, instrument_id: str | None) -> list[Calibration]:
    own = [] if instrument_id is None else [calibration.c.about == instrument_id]
    return [calibration_from_json(c) for c in revisions.every(connection, calibration, *own)]


def _checks(
    connection: Connection, channel: ChannelId, until: int | None = None
) -> list[ReferenceCheck]:
    wanted = [reference_check.c.about == str(channel)]
    if until is not None:
        wanted.append(reference_check.c.at <= until)
    return [check_from_json(c) for c in revisions.newest(connection, reference_check, *wanted)]


def _fitting_content(item: FittingRecord) -> dict[str, Any]:
    own = {"id": item.id, "revision": item.revision, "withdrawn": item.withdrawn}
    return {**to_json(item.fitting), **own}


def _fitting_of(content: dict[str, Any]) -> FittingRecord:
    members = dict(content)
    record, revision, withdrawn = (members.pop(n) for n in ("id", "revision", "withdrawn"))
    return FittingRecord(record, fitting_from_json(members), revision, withdrawn)
