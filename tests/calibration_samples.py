"""Instruments, fittings and calibrations to change one thing of."""

from dataclasses import replace
from typing import Any

from steadybead_domain.calibration.model import (
    Calibration,
    CorrectionKind,
    Fitting,
    Instrument,
    Point,
)
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.ids import ChannelId
from steadybead_domain.times import DAY, HOUR

NOW = 1_790_000_000_000_000
CHANNEL = ChannelId("north", "bay-1", "gun-a/nozzle")
OTHER_CHANNEL = ChannelId("north", "bay-1", "gun-b/nozzle")
INSTRUMENT = Instrument("tc-7", "K-0007", "type K, class 1", "Cel", 2.0, 365)
FITTING = Fitting("tc-7", CHANNEL, NOW - 100 * DAY)
POINTS = (Point(100.0, 101.0), Point(300.0, 303.0), Point(500.0, 502.0))


def calibration(**changed: Any) -> Calibration:
    sample = Calibration(
        id="cal-1",
        instrument="tc-7",
        performed=NOW - 10 * DAY,
        effective=NOW - 10 * DAY,
        kind=CorrectionKind.PIECEWISE,
        unit="Cel",
        points=POINTS,
        expanded_uncertainty=1.0,
        reference_instrument="needle probe 44-12",
        author="bench",
        entered=NOW,
    )
    return replace(sample, **changed)


def offset(shown: float, true: float, **changed: Any) -> Calibration:
    return calibration(
        kind=CorrectionKind.OFFSET,
        points=(Point(true, shown),),
        valid_low=0.0,
        valid_high=600.0,
        **changed,
    )


def check(**changed: Any) -> ReferenceCheck:
    sample = ReferenceCheck(
        id="check-1",
        channel=CHANNEL,
        time=NOW - HOUR,
        reference=320.0,
        shown=312.0,
        nozzle="speed 5 mm",
        reference_instrument="needle probe 44-12",
        expanded_uncertainty=2.0,
        author="Ana",
        entered=NOW,
        flow_l_min=50.0,
    )
    return replace(sample, **changed)
