"""Pages of sensors, reference checks and calibrations: build a context, render it."""

import contextlib
from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from steadybead_api.impact import spans_in_doubt, welds_in
from steadybead_api.impact_verdicts import doubt_of, verdicts
from steadybead_api.measuring import Measuring
from steadybead_api.page_routes import NO_STATION, NO_STATION_REMEDY, Pages
from steadybead_api.page_sources import ServiceSources
from steadybead_api.sensors import Sensor, sensors
from steadybead_api.services import Services
from steadybead_api.wiring import hint_text
from steadybead_api.worth import WITH_BUDGET
from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.entry_pages import (
    Doubt,
    InDoubt,
    calibration_entry_page,
    calibration_page,
    check_page,
)
from steadybead_dashboards.expected import expected
from steadybead_dashboards.render import Page, renderer
from steadybead_dashboards.sensor import SensorFacts, sensor_page
from steadybead_dashboards.sensor_list import SensorView, sensor_list_page
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.signin import ProblemPage
from steadybead_domain.calibration.due import error_found
from steadybead_domain.calibration.impact import Growth, Span
from steadybead_domain.ids import BadNameError, ChannelId, StationId
from steadybead_domain.plant import Channel, Station
from steadybead_domain.welds import Weld

NO_SENSOR = mark("No such sensor")
NO_SENSOR_REMEDY = mark("The plant file names no channel of this name. Choose one of the list.")
NO_CALIBRATION = mark("No such calibration")
NO_CALIBRATION_REMEDY = mark("Choose it in the history on the page of its sensor.")
NO_BUDGET = mark("An uncertainty budget is kept for nozzle temperature and air flow only.")
NOTHING_NOW = mark("No good reading in the last minute, so there is no value to judge.")
NOTHING_EVER = mark("No reading ever came, so there is no value to judge.")
NOT_STATED = mark("The plant file contradicts itself here, so no budget can be made.")
STATION = Annotated[str, Query(max_length=140)]
NAME = Annotated[str, Query(max_length=64)]
KNOWN_NOZZLES = 200
MOST_STATIONS = 50
MOST_HISTORY = 200
MOST_JUDGED = 20


class SensorPages:
    """Makes the pages from the services."""

    def __init__(self, services: Services) -> None:
        self._services = services

    def all(self, shell: Shell, station: str) -> Page:
        """Build the list of sensors."""
        plant = self._services.plant()
        chosen = _station_id(station)
        if station and (chosen is None or plant.station(chosen) is None):
            return ProblemPage(shell, 404, NO_STATION, NO_STATION_REMEDY)
        if chosen is None and len(plant.stations) > MOST_STATIONS:
            chosen = plant.stations[0].id  # a page of all of them would be too long to be read
            station = str(chosen)
        measuring = Measuring(self._services)
        views = [_view(s) for s in sensors(self._services, chosen, measuring)]
        return sensor_list_page(plant, views, measuring.findings(shell.now), shell, station)

    def one(self, shell: Shell, name: str) -> Page:
        """Build the page of one sensor."""
        channel = self._channel(name)
        if channel is None:
            return ProblemPage(shell, 404, NO_SENSOR, NO_SENSOR_REMEDY)
        services, measuring = self._services, Measuring(self._services)
        found = sensors(services, channel.id.station_id, measuring)
        sensor = next(s for s in found if s.channel.id == channel.id)
        fitting = measuring.fitted(channel.id, shell.now)
        busy = {f.fitting.instrument for f in measuring.fittings if f.fitting.covers(shell.now)}
        valued = sensor.valued
        entries = measuring.history(channel.id)
        facts = SensorFacts(
            _view(sensor),
            None if fitting is None else (fitting.id, fitting.revision, fitting.fitting),
            [i for i in measuring.instruments.values() if i.id not in busy],
            None if valued is None else valued.worth,
            () if valued is None else valued.assumptions,
            entries[:MOST_HISTORY],
            [f for f in measuring.findings(shell.now) if f.channel == channel.id],
            _why_no_worth(sensor),
            hint_text(services, measuring, channel, shell.now),
            max(len(entries) - MOST_HISTORY, 0),
            expected(channel, services.live.root),
        )
        return sensor_page(services.plant(), facts, shell)

    def check(self, shell: Shell, station: str, gun: str) -> Page:
        """Build the entry of a reference check."""
        plant = self._services.plant()
        chosen = _station_id(station)
        found = None if chosen is None else plant.station(chosen)
        if station and found is None:
            return ProblemPage(shell, 404, NO_STATION, NO_STATION_REMEDY)
        return check_page(plant, found, gun, self._nozzles(found), shell)

    def calibrate(self, shell: Shell, instrument: str) -> Page:
        """Build the entry of a calibration."""
        known = self._services.records.instruments.all()
        return calibration_entry_page(known, instrument, shell)

    def calibration(self, shell: Shell, name: str) -> Page:
        """Build the page of one calibration."""
        records = self._services.records.instruments
        revisions = records.calibration_revisions(name)
        instrument = records.get(revisions[-1].instrument) if revisions else None
        if instrument is None:
            return ProblemPage(shell, 404, NO_CALIBRATION, NO_CALIBRATION_REMEDY)
        newest = revisions[-1]
        measuring = Measuring(self._services)
        spans = [] if newest.withdrawn else spans_in_doubt(measuring, newest, instrument)
        before = Measuring(self._services, without=(newest.id,))
        doubts = []
        for channel, span in spans:
            welds, left_out = welds_in(self._services, channel, span)
            judged = self._judged(before, channel, span, instrument.unit, welds[:MOST_JUDGED])
            doubts.append(Doubt(channel, span, tuple(welds), left_out, judged))
        error = error_found(newest, instrument.unit)
        plant = self._services.plant()
        return calibration_page(plant, tuple(revisions), instrument, doubts, error, shell)

    def _judged(
        self,
        before: Measuring,
        channel: ChannelId,
        span: Span,
        unit: str,
        welds: Sequence[Weld],
    ) -> dict[str, InDoubt]:
        """Judge records without what was found, with the error grown, and with all of it."""
        grown, full = (
            verdicts(self._services, before, doubt_of(before, channel, span, unit, g), welds)
            for g in (Growth.LINEAR, Growth.FULL)
        )
        return {
            one["weld"]: InDoubt(one["before"], one["after"], two["after"])
            for one, two in zip(grown, full, strict=True)
        }

    def _nozzles(self, station: Station | None) -> list[str]:
        """List the nozzles of former checks here, the newest first."""
        if station is None:
            return []
        page = self._services.records.instruments.check_page(KNOWN_NOZZLES, station=station.id)
        return [c.nozzle for c in page.items if not c.withdrawn]

    def _channel(self, name: str) -> Channel | None:
        with contextlib.suppress(BadNameError):
            wanted = ChannelId.parse(name)
            return next((c for c in self._services.plant().channels() if c.id == wanted), None)
        return None


def sensor_router(services: Services) -> APIRouter:
    """Give the routes of these pages."""
    pages = Pages(ServiceSources(services), renderer())
    made = SensorPages(services)
    router = APIRouter(include_in_schema=False)

    @router.get("/sensors")
    def all_sensors(request: Request, station: STATION = "") -> Response:
        return pages.read(request, lambda shell: made.all(shell, station))

    @router.get("/sensors/{site}/{station}/{owner}/{what}")
    def sensor(request: Request, site: str, station: str, owner: str, what: str) -> Response:
        name = f"{site}/{station}/{owner}/{what}"
        return pages.read(request, lambda shell: made.one(shell, name))

    @router.get("/reference-check")
    def check(request: Request, station: STATION = "", gun: NAME = "") -> Response:
        return pages.read(request, lambda shell: made.check(shell, station, gun))

    @router.get("/calibration")
    def calibrate(request: Request, instrument: NAME = "") -> Response:
        return pages.read(request, lambda shell: made.calibrate(shell, instrument))

    @router.get("/calibrations/{calibration}")
    def calibration(request: Request, calibration: str) -> Response:
        return pages.read(request, lambda shell: made.calibration(shell, calibration))

    return router


def _view(sensor: Sensor) -> SensorView:
    budget = None if sensor.valued is None else sensor.valued.worth.budget
    ever = sensor.ever_heard
    return SensorView(sensor.channel, sensor.instrument, sensor.due, sensor.value, budget, ever)


def _why_no_worth(sensor: Sensor) -> str:
    if sensor.channel.quantity not in WITH_BUDGET:
        return NO_BUDGET
    if not sensor.ever_heard:
        return NOTHING_EVER
    return NOTHING_NOW if sensor.value is None else NOT_STATED


def _station_id(text: str) -> StationId | None:
    with contextlib.suppress(BadNameError):
        return StationId.parse(text)
    return None
