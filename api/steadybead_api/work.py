"""The work list from the records and the readings of now."""

from collections.abc import Iterator

import numpy as np

from steadybead_api.findings import Findings
from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_domain.calibration.due import Due
from steadybead_domain.calibration.model import Fitting, Instrument
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, HOUR
from steadybead_domain.work_list import Running, WorkItem, work_list

LOOKED_BACK = 14 * DAY
AIR_L_MIN = 10.0
LEAST_SHARE, MOST_SHARE = 0.05, 3.0
LEAST_WORKING = 4 * HOUR


def work_now(services: Services) -> list[WorkItem]:
    """Gather and list what is to be done."""
    now = services.clock()
    plant = services.plant()
    measuring = Measuring(services)
    findings = Findings(services, measuring)
    known = {s.id for s in plant.stations}
    running = {s.id: Running(running_share(services, s, now)) for s in plant.stations}
    due = [d for d in _calibrations(measuring, now) if d[1].channel.station_id in known]
    return work_list(findings.open(), due, running, plant.calendar, now)


def _calibrations(measuring: Measuring, now: int) -> Iterator[tuple[Instrument, Fitting, Due]]:
    for record in measuring.fittings:
        instrument = measuring.instruments.get(record.fitting.instrument)
        if instrument is not None and record.fitting.covers(now):
            yield instrument, record.fitting, measuring.due(instrument, now)


def running_share(services: Services, station: Station, now: int) -> float:
    """Tell how many hours of air there were for each working hour of the last two weeks.

    An hour counts by its mean flow over the usual flow of the hours with air, and by how much of
    it was heard. 1 where too little is known: then a forecast is told as early as it can be.
    """
    start = now - LOOKED_BACK
    hours = LOOKED_BACK // HOUR
    share = np.zeros(hours)
    seen = np.zeros(hours, np.bool_)
    for gun in station.guns:
        channel = station.channel_of(Quantity.AIR_FLOW, gun)
        if channel is None:
            continue
        found = services.readings.buckets(channel.id, start, now, hours)
        place = np.clip((found.start - start) // HOUR, 0, hours - 1)
        mean = np.nan_to_num(found.mean)
        peak = np.nan_to_num(found.high)
        blowing = peak > AIR_L_MIN
        seen[place[found.n > 0]] = True
        if blowing.any():
            usual = float(np.median(peak[blowing])) * 0.95
            whole = found.n / found.n.max()
            np.maximum.at(share, place, np.clip(mean / usual, 0.0, 1.0) * whole)
    if not seen.any():
        return 1.0
    first = start + int(np.flatnonzero(seen)[0]) * HOUR
    working = services.plant().calendar.working(first, now)
    if working < LEAST_WORKING or share.sum() == 0:
        return 1.0
    return float(np.clip(share.sum() * HOUR / working, LEAST_SHARE, MOST_SHARE))
