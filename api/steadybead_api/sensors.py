"""Each channel of the plant with the instrument behind it, and what its newest value is worth."""

import contextlib
from dataclasses import dataclass

from steadybead_api.measuring import Measuring
from steadybead_api.services import Services
from steadybead_api.worth import WITH_BUDGET, Valued, Valuer, near_of
from steadybead_domain.calibration.due import Due
from steadybead_domain.calibration.model import Instrument
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Channel

NO_INSTRUMENT = "none"


@dataclass(frozen=True, slots=True)
class Sensor:
    """A channel; None where no instrument is known, nothing is heard, or no budget is kept."""

    channel: Channel
    instrument: Instrument | None
    due: Due | None
    value: float | None
    valued: Valued | None
    ever_heard: bool = True

    @property
    def state(self) -> str:
        """Give the word of the calibration's state."""
        return NO_INSTRUMENT if self.due is None else self.due.state.value


def sensors(
    services: Services, station: StationId | None = None, measuring: Measuring | None = None
) -> list[Sensor]:
    """List the channels of one station or of all, in the plant file's order."""
    known = measuring or Measuring(services)
    now = services.clock()
    channels = [c for c in services.plant().channels() if station in (None, c.id.station_id)]
    latest = services.readings.latest([c.id for c in channels])
    near = near_of(services, latest, now)
    valuer = Valuer(services, known)
    found = []
    for channel in channels:
        fitting = known.fitted(channel.id, now)
        name = "" if fitting is None else fitting.fitting.instrument
        instrument = known.instruments.get(name)
        value = near(channel.id)
        valued = None
        if value is not None and channel.quantity in WITH_BUDGET:
            with contextlib.suppress(ValueError):  # the plant file contradicts itself
                valued = valuer.value(channel, now, value, near)
        due = None if instrument is None else known.due(instrument, now)
        found.append(Sensor(channel, instrument, due, value, valued, channel.id in latest))
    return found
