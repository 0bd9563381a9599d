"""Instruments, calibrations and checks for the invented shop of the page tests."""

from dataclasses import replace

from calibration_samples import INSTRUMENT, calibration, check
from fakes_pages import PLANT, Shop, now_us
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act
from steadybead_domain.calibration.model import Fitting, Point
from steadybead_domain.ids import ChannelId
from steadybead_domain.people import Actor, Role
from steadybead_domain.times import DAY, MINUTE

NOZZLE_A = ChannelId("north", "bay-1", "gun-a/nozzle")
FOUND_5_C_OFF = (Point(100.0, 101.0), Point(300.0, 305.0), Point(500.0, 503.0))


def measure(shop: Shop) -> None:
    """Fit a sensor to gun a of bay 1, calibrate it in the middle of w-1001, check it twice."""
    now = now_us()
    act = Act(Actor("Rui", Role.MAINTENANCE), now, "test")
    kept = shop.records.instruments
    nozzle = next(c for c in PLANT.channels() if c.id == NOZZLE_A)
    fitting = Fitting("tc-7", NOZZLE_A, now - 100 * DAY, None, "Rui", now)
    kept.keep(INSTRUMENT, act)
    kept.keep_fitting(FittingRecord("f-1", fitting), nozzle, act)
    performed = now - 16 * MINUTE
    times = {"performed": performed, "effective": performed, "due": now + 5 * DAY, "entered": now}
    kept.keep_calibration(calibration(points=FOUND_5_C_OFF, **times), act)
    sample = check(channel=NOZZLE_A, reference=330.0, shown=322.0, entered=now)
    for i, minutes in enumerate((25, 5)):
        kept.keep_check(replace(sample, id=f"r-{i}", time=now - minutes * MINUTE), nozzle, act)
