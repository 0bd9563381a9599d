"""When a grid step is judged: as soon as all channels have gone on, else after a wait."""

import json

import numpy as np

from shop_language import PROCEDURES, columns, made_station
from steadybead_domain.diagnosis.grid import STEP
from steadybead_domain.diagnosis.station import LATENESS, SETTLING, TRUST_AGAIN, StationDiagnosis
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import SECOND

T0 = 1_777_900_000 * SECOND
START = T0 // STEP
STATION = made_station(
    "bay-1", "a", {"nozzle": Quantity.NOZZLE_TEMPERATURE, "flow": Quantity.AIR_FLOW}
)
NOZZLE, FLOW = (channel.id for channel in STATION.channels)


def hear(diagnosis: StationDiagnosis, *seconds: float, channels: str = "both") -> None:
    times = np.array([T0 + round(s * SECOND) for s in seconds], np.int64)
    names = {"both": (NOZZLE, FLOW), "nozzle": (NOZZLE,)}[channels]
    diagnosis.push({name: columns(times, np.full(len(times), 50.0)) for name in names})


def begun() -> StationDiagnosis:
    diagnosis = StationDiagnosis(STATION, PROCEDURES)
    hear(diagnosis, 0.0, 0.2, 0.4)
    diagnosis.advance(T0 + STEP - 1)
    assert diagnosis.next_step == START - 1 or diagnosis.next_step == START
    return diagnosis


def judged(diagnosis: StationDiagnosis) -> int:
    """Count the steps judged since the first reading's."""
    assert diagnosis.next_step is not None
    return diagnosis.next_step - START


def test_a_step_is_judged_as_soon_as_every_channel_has_gone_on() -> None:
    diagnosis = begun()
    hear(diagnosis, 0.6)
    assert diagnosis.due() == T0 + STEP + SETTLING
    diagnosis.advance(T0 + STEP + SETTLING - 1)
    assert judged(diagnosis) <= 0
    diagnosis.advance(T0 + STEP + SETTLING)
    assert judged(diagnosis) == 1
    assert diagnosis.late == 0


def test_a_channel_that_has_not_gone_on_is_waited_for() -> None:
    diagnosis = begun()
    hear(diagnosis, 0.6, channels="nozzle")
    assert diagnosis.due(SECOND) == T0 + STEP + SECOND + LATENESS
    diagnosis.advance(T0 + STEP + LATENESS - 1)
    assert judged(diagnosis) <= 0
    diagnosis.advance(T0 + STEP + LATENESS)
    assert judged(diagnosis) == 1


def test_readings_that_come_late_as_usual_are_waited_for() -> None:
    diagnosis = begun()
    hear(diagnosis, 0.6, channels="nozzle")
    diagnosis.advance(T0 + STEP + LATENESS, allowance=SECOND)
    assert judged(diagnosis) <= 0
    diagnosis.advance(T0 + STEP + LATENESS + SECOND, allowance=SECOND)
    assert judged(diagnosis) == 1


def test_who_sends_out_of_order_is_waited_for_as_long_as_it_lasts() -> None:
    diagnosis = begun()
    hear(diagnosis, 0.3)
    hear(diagnosis, 0.6)
    diagnosis.advance(T0 + STEP + LATENESS - 1)
    assert judged(diagnosis) <= 0
    copy = StationDiagnosis.restore(STATION, PROCEDURES, diagnosis.dump())
    assert copy.unordered_until == T0 + 2 * SECOND // 5 + TRUST_AGAIN
    json.loads(copy.dump())
    later = TRUST_AGAIN / SECOND
    hear(copy, later + 0.4, later + 0.6)
    copy.advance(T0 + TRUST_AGAIN + STEP + SETTLING)
    assert judged(copy) == TRUST_AGAIN // STEP + 1
