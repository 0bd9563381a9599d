"""A station that was switched off cools in the dark: its first reading next morning is no alarm."""

import numpy as np
import pytest

from shop_language import PROCEDURES, clock, columns, made_station
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns
from steadybead_domain.times import HOUR, MINUTE, SECOND

STATION = made_station("bay-1")
HOT, COLD = 320.0, 17.0


def readings(start: int, end: int, nozzle_c: float, flow: float) -> dict[ChannelId, Columns]:
    time = np.arange(start, end, SECOND)
    whole = np.ones(len(time))
    return {
        ChannelId("north", "bay-1", "gun-a/nozzle"): columns(time, nozzle_c * whole),
        ChannelId("north", "bay-1", "gun-a/flow"): columns(time, flow * whole),
    }


def kinds(diagnosis: StationDiagnosis, now: int) -> set[str]:
    return {fact.kind for fact in diagnosis.advance(now).facts if fact.active}


def evening() -> tuple[StationDiagnosis, int]:
    """A hot gun whose air stops early, and whose node is switched off a minute later."""
    diagnosis = StationDiagnosis(STATION, PROCEDURES)
    start = clock("15:00")
    diagnosis.push(readings(start, start + 20 * MINUTE, HOT, 50.0))
    off = start + 20 * MINUTE
    diagnosis.push(readings(off, off + MINUTE, HOT - 60.0, 0.0))
    told = kinds(diagnosis, off + MINUTE + SECOND)
    assert told & {"air_stopped_hot", "air_lost_heat_unknown"}
    return diagnosis, off + MINUTE


@pytest.mark.parametrize("dark", [HOUR, 16 * HOUR])
def test_a_cold_gun_after_a_night_raises_nothing(dark: int) -> None:
    diagnosis, end = evening()
    kinds(diagnosis, end + dark)
    diagnosis.push(readings(end + dark, end + dark + 5 * MINUTE, COLD, 0.0))
    told = kinds(diagnosis, end + dark + 5 * MINUTE + SECOND)
    assert not {kind for kind in told if kind.startswith("air_")}


def test_a_gun_that_is_still_hot_after_a_short_darkness_is_told() -> None:
    diagnosis, end = evening()
    back = end + 2 * MINUTE
    diagnosis.push(readings(back, back + MINUTE, HOT - 60.0, 50.0))
    diagnosis.push(readings(back + MINUTE, back + 2 * MINUTE, HOT - 60.0, 0.0))
    told = kinds(diagnosis, back + 2 * MINUTE + SECOND)
    assert {kind for kind in told if kind.startswith("air_")}
