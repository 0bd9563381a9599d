"""A last value that is older than its channel may be silent is shown as stale, not as good."""

import numpy as np

from shop_language import PROCEDURES, clock, columns, made_station
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.ids import ChannelId
from steadybead_domain.times import SECOND


def test_a_value_goes_stale_when_its_channel_has_been_silent_too_long() -> None:
    station = made_station("bay-1")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    start = clock("08:00")
    time = np.arange(start, start + 60 * SECOND, SECOND)
    nozzle = ChannelId("north", "bay-1", "gun-a/nozzle")
    diagnosis.push({nozzle: columns(time, np.full(60, 320.0))})
    silence_s = next(c.silence_s for c in station.channels if c.id == nozzle)
    last = int(time[-1])

    def shown(now: int) -> tuple[str, str, float | None]:
        (value,) = diagnosis.advance(now).live.values
        return value.quality, value.reason, value.value

    assert shown(last + 2 * SECOND) == ("good", "", 320.0)
    assert shown(last + round((silence_s + 2) * SECOND)) == ("bad", "stale", 320.0)
    again = last + round((silence_s + 3) * SECOND)
    diagnosis.push({nozzle: columns(np.array([again]), np.array([318.0]))})
    assert shown(again + SECOND) == ("good", "", 318.0)
