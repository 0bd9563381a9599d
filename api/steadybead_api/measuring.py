"""What is on record about the instruments behind the channels, read once for one answer."""

from collections.abc import Collection
from functools import cached_property

from steadybead_api.services import Services
from steadybead_collector.records.instruments import FittingRecord
from steadybead_domain.calibration.due import Due, due
from steadybead_domain.calibration.due_findings import due_findings
from steadybead_domain.calibration.history import Entry, EntryKind, history
from steadybead_domain.calibration.model import Calibration, Instrument
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.calibration.timeline import Timeline, timeline
from steadybead_domain.conversion.units import same_dimension
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel


class Measuring:
    """Instruments, fittings and calibrations as they stand; each is asked for at most once.

    Calibrations named by `without` are left out, as if they were not known yet.
    """

    def __init__(self, services: Services, without: Collection[str] = ()) -> None:
        self._services = services
        self._without = without
        self._records = services.records.instruments
        self._lines: dict[ChannelId, Timeline] = {}
        self._checks: dict[ChannelId, list[ReferenceCheck]] = {}

    @cached_property
    def instruments(self) -> dict[str, Instrument]:
        """Give the newest revision of each instrument by its id."""
        return {i.id: i for i in self._records.all()}

    @cached_property
    def fittings(self) -> list[FittingRecord]:
        """List the fittings that stand, by their start."""
        return self._records.fittings()

    @cached_property
    def calibrations(self) -> list[Calibration]:
        """List every revision of every calibration."""
        found = self._records.calibrations()
        return [c for c in found if c.id not in self._without]

    @cached_property
    def _channels(self) -> dict[ChannelId, Channel]:
        return {c.id: c for c in self._services.plant().channels()}

    def channel(self, channel: ChannelId) -> Channel | None:
        """Find a channel in the plant file."""
        return self._channels.get(channel)

    def line(self, channel: ChannelId) -> Timeline:
        """Lay out which correction holds for a channel when."""
        if channel not in self._lines:
            unit = self._unit(channel)
            own = [f.fitting for f in self.fittings if f.fitting.channel == channel]
            fitting = [f for f in own if self._fits(f.instrument, unit)]
            self._lines[channel] = timeline(channel, unit, fitting, self.calibrations)
        return self._lines[channel]

    def checks(self, channel: ChannelId) -> list[ReferenceCheck]:
        """List the reference checks of a channel, by their time."""
        if channel not in self._checks:
            self._checks[channel] = self._records.checks(channel)
        return self._checks[channel]

    def fitted(self, channel: ChannelId, time: int) -> FittingRecord | None:
        """Find what is fitted to a channel at a time."""
        own = (f for f in self.fittings if f.fitting.channel == channel and f.fitting.covers(time))
        return next(own, None)

    def due(self, instrument: Instrument, now: int) -> Due:
        """Judge whether an instrument is due for calibration."""
        return due(instrument, self.calibrations, now)

    def findings(self, now: int) -> list[Finding]:
        """Give what is due, overdue or failed as found, of all instruments that are fitted."""
        fittings = [f.fitting for f in self.fittings if f.fitting.channel in self._channels]
        return due_findings(self.instruments.values(), fittings, self.calibrations, now)

    def history(self, channel: ChannelId) -> list[tuple[Entry, Instrument | None]]:
        """List all that is on record about a channel, newest first, with the instrument."""
        checks = self.checks(channel)
        own = [f.fitting for f in self.fittings if f.fitting.channel == channel]
        found: list[tuple[Entry, Instrument | None]] = []
        for name in dict.fromkeys(f.instrument for f in own):
            instrument = self.instruments.get(name)
            if instrument is not None:
                entries = history(instrument, own, self.calibrations, checks)
                found += [(entry, instrument) for entry in entries]
        listed = {entry.reference for entry, _ in found if entry.kind is EntryKind.CHECKED}
        found += [(_checked(c), None) for c in checks if not c.withdrawn and c.id not in listed]
        return sorted(found, key=lambda pair: -pair[0].time)

    def _fits(self, instrument: str, unit: str) -> bool:
        """Tell whether an instrument still belongs here: a channel may change what it measures."""
        known = self.instruments.get(instrument)
        return known is not None and same_dimension(known.unit, unit)

    def _unit(self, channel: ChannelId) -> str:
        """Give a channel's unit; for one that left the plant file, that of its instrument."""
        known = self._channels.get(channel)
        if known is not None:
            return known.unit
        own = (f for f in self.fittings if f.fitting.channel == channel)
        fitting = next(own, None)
        instrument = None if fitting is None else self.instruments.get(fitting.fitting.instrument)
        return "" if instrument is None else instrument.unit


def _checked(check: ReferenceCheck) -> Entry:
    return Entry(
        check.time,
        EntryKind.CHECKED,
        check.channel,
        check.author,
        check.deviation,
        check.expanded_uncertainty,
        check.id,
    )
