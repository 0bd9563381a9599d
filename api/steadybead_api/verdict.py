"""The verdict on heat and air of a weld record, put together from stores and records."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from steadybead_api.flow_window import window_in_meter
from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.trace import procedure_of
from steadybead_api.weld_worth import mean_between
from steadybead_api.worth import Near, Valuer
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.calibration.impact import Growth, Span, error_at
from steadybead_domain.calibration.recalibrate import recalibrated_columns
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Channel, Station
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns
from steadybead_domain.times import HOUR, SECOND
from steadybead_domain.verdict.conclude import JUDGED, LONGEST_US, Case, conclude
from steadybead_domain.verdict.judge import Evidence
from steadybead_domain.verdict.model import Reason, Verdict, Why
from steadybead_domain.verdict.runs import find_runs
from steadybead_domain.verdict.seam import SeamFacts
from steadybead_domain.welds import Weld

NEIGHBOURS: Final = 50


@dataclass(frozen=True, slots=True)
class Doubt:
    """An error found later in one channel, and how it is thought to have grown."""

    channel: ChannelId
    span: Span
    growth: Growth


def weld_verdict(
    services: Services,
    weld: Weld,
    measuring: Measuring | None = None,
    doubt: Doubt | None = None,
) -> Verdict:
    """Judge a record by what is on record now; one that runs is judged up to now.

    With `doubt`, the error that was found is first taken out of the readings.
    """
    held_to = procedure_of(services, weld)
    maker = _CaseMaker(services, weld, measuring or Measuring(services), doubt)
    case = maker.case(None if held_to is None else held_to.procedure)
    return conclude(case, services.rule)


def seam_facts(services: Services, weld: Weld) -> SeamFacts:
    """Give what is known of the way along the seam of a record."""
    held_to = procedure_of(services, weld)
    procedure = None if held_to is None else held_to.procedure
    maker = _CaseMaker(services, weld, Measuring(services), None)
    speed = None if maker.is_too_long else maker.columns_of(Quantity.TRAVEL_SPEED)
    return _facts(weld, procedure, speed)


def _facts(weld: Weld, procedure: Procedure | None, speed: Columns | None) -> SeamFacts:
    length, beads = weld.details.seam_length_mm, weld.details.beads
    return SeamFacts(length, beads, None if procedure is None else procedure.travel_speed, speed)


class _CaseMaker:
    """Gathers what one verdict stands on."""

    def __init__(
        self, services: Services, weld: Weld, measuring: Measuring, doubt: Doubt | None
    ) -> None:
        self._services = services
        self._weld = weld
        self._measuring = measuring
        self._doubt = doubt
        self._station = services.plant().station(weld.station)
        stop = services.clock() if weld.stop is None else weld.stop
        self._stop = max(stop, weld.start)

    @property
    def is_too_long(self) -> bool:
        return self._stop - self._weld.start > LONGEST_US

    def case(self, procedure: Procedure | None) -> Case:
        weld = self._weld
        if self.is_too_long:
            facts = _facts(weld, procedure, None)
            return Case(weld, procedure, (), (), (), "", facts, too_long=True)
        stand, motion, speed = (
            self.columns_of(q)
            for q in (Quantity.IN_STAND, Quantity.GUN_MOTION, Quantity.TRAVEL_SPEED)
        )
        runs, runs_from = find_runs(weld.start, self._stop, stand, motion)
        evidence: list[tuple[Quantity, Evidence | Reason]] = []
        if procedure is not None:
            near = mean_between(self._services.readings, weld.start, self._stop)
            evidence = [(q, self._evidence(q, procedure, near)) for q in JUDGED]
        return Case(
            weld,
            procedure,
            [w.id for w in overlapping(self._services, weld, self._stop)],
            evidence,
            runs,
            runs_from,
            _facts(weld, procedure, speed),
            self._channel(Quantity.CONTACT_FORCE) is not None,
        )

    def _channel(self, quantity: Quantity) -> Channel | None:
        station: Station | None = self._station
        return None if station is None else station.channel_of(quantity, self._weld.gun)

    def columns_of(self, quantity: Quantity) -> Columns | None:
        """Read a channel from an hour before the record: it may be sent on change only."""
        channel = self._channel(quantity)
        if channel is None:
            return None
        found = self._services.readings.read(channel.id, self._weld.start - HOUR, self._stop)
        return Columns.concat(found)

    def _evidence(self, quantity: Quantity, procedure: Procedure, near: Near) -> Evidence | Reason:
        channel = self._channel(quantity)
        named = quantity.value.replace("_", " ")
        if channel is None:
            text = f"{named}: the plant file has no such channel for this gun"
            return Reason(Why.NO_CHANNEL, text)
        edges = self._measuring.line(channel.id).edges(self._weld.start, self._stop)
        if edges:
            text = f"{named}: the calibration changed within the record"
            return Reason(Why.CALIBRATION_CHANGED, text, edges[0], edges[-1])
        try:
            return self._measured(channel, procedure, near)
        except ValueError as error:  # the plant file contradicts itself
            return Reason(Why.PLANT_FILE, f"{named}: {error}")

    def _measured(self, channel: Channel, procedure: Procedure, near: Near) -> Evidence | Reason:
        window, note = window_of(self._services, channel, procedure, near)
        limit = widest(window)
        if limit is None:
            text = f"{channel.quantity.value.replace('_', ' ')}: the procedure gives no window"
            return Reason(Why.NO_WINDOW, text)
        valued = Valuer(self._services, self._measuring).value(channel, self._stop, limit, near)
        silence_us = int(channel.silence_s * SECOND)
        read = self._services.readings.read(channel.id, self._weld.start - silence_us, self._stop)
        columns = recalibrated_columns(Columns.concat(read), self._measuring.line(channel.id))
        correction = valued.worth.correction
        shift = 0.0 if correction is None else correction.value
        return Evidence(
            channel.quantity,
            channel.id,
            channel.unit,
            window,
            valued.worth.budget,
            self._undone(channel.id, replace(columns, value=columns.value + shift)),
            silence_us,
            note,
            valued.assumptions,
            shift,
        )

    def _undone(self, channel: ChannelId, columns: Columns) -> Columns:
        doubt = self._doubt
        if doubt is None or doubt.channel != channel:
            return columns
        error = error_at(doubt.span, columns.time, doubt.growth)
        return replace(columns, value=np.asarray(columns.value - error, np.float64))


def window_of(
    services: Services, channel: Channel, procedure: Procedure, near: Near
) -> tuple[Window, str]:
    """Give a procedure's window in the channel's own figures; ValueError."""
    if channel.quantity is Quantity.AIR_FLOW:
        return window_in_meter(services, channel, procedure, near)
    window = procedure.nozzle_temperature
    if window.unit != channel.unit:
        raise ValueError(f"the procedure's window is in {window.unit}, not in {channel.unit}")
    return window, ""


def widest(window: Window) -> float | None:
    """Give the limit of larger size, where a budget is taken; None for an open window."""
    return max((x for x in (window.low, window.high) if x is not None), key=abs, default=None)


def overlapping(services: Services, weld: Weld, stop: int) -> Sequence[Weld]:
    """Find other records of the same gun that share time with this one, by id."""
    search = WeldSearch(weld.station, weld.gun, began_before=max(stop, weld.start + 1))
    others: Iterable[Weld] = services.records.welds.page(search, NEIGHBOURS).items
    found = [w for w in others if w.id != weld.id and (w.stop is None or w.stop > weld.start)]
    return sorted(found, key=lambda w: w.id)
