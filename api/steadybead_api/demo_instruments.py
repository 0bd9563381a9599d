"""Invented instruments for the demo's shop, so that its pages of sensors have something to show."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import cycle
from typing import Final

from steadybead_api.services import Services
from steadybead_collector.records.instruments import FittingRecord
from steadybead_collector.records.revisions import Act
from steadybead_domain.calibration.model import (
    Calibration,
    CorrectionKind,
    Fitting,
    Instrument,
    Point,
)
from steadybead_domain.people import Actor, Role
from steadybead_domain.plant import Channel
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY

AUTHOR: Final = Actor("demo bench", Role.MAINTENANCE)
INTERVAL_DAYS: Final = 365
# one is valid, one due soon, one overdue, and so on round the shop
AGES_DAYS: Final = (120, 356, 380)


@dataclass(frozen=True, slots=True)
class _Model:
    """What is fitted to a quantity: its points are true and shown, U is of the calibration."""

    letter: str
    kind: str
    tolerance: float
    points: tuple[tuple[float, float], ...]
    expanded: float


_MODELS: Final = {
    Quantity.NOZZLE_TEMPERATURE: _Model(
        "K", "type K, class 1, 1.5 mm sheath", 2.0, ((200.0, 200.2), (400.0, 400.3)), 0.8
    ),
    Quantity.AIR_FLOW: _Model("F", "flow meter, 100 L/min", 2.0, ((20.0, 20.1), (60.0, 60.2)), 0.6),
}


def furnish(services: Services) -> None:
    """Enter instruments with their calibrations, unless there are some already."""
    records = services.records.instruments
    if records.all():
        return
    act = Act(AUTHOR, services.clock(), "demo")
    for number, (channel, age) in enumerate(
        zip(_measured(services), cycle(AGES_DAYS), strict=False)
    ):
        model = _MODELS[channel.quantity]
        name = f"demo-{model.letter.lower()}-{number + 1}"
        serial = f"{model.letter}-{1001 + number}"
        instrument = Instrument(
            name,
            serial,
            model.kind,
            channel.unit,
            model.tolerance,
            INTERVAL_DAYS,
            AUTHOR.name,
            act.now,
        )
        start = act.now - (age + 7) * DAY
        fitting = Fitting(name, channel.id, start, None, AUTHOR.name, act.now)
        records.keep(instrument, act)
        records.keep_fitting(FittingRecord(f"{name}-fitted", fitting), channel, act)
        records.keep_calibration(_calibration(instrument, model, act.now - age * DAY, act.now), act)


def _measured(services: Services) -> Iterator[Channel]:
    return (c for c in services.plant().channels() if c.quantity in _MODELS)


def _calibration(instrument: Instrument, model: _Model, performed: int, now: int) -> Calibration:
    return Calibration(
        f"{instrument.id}-calibrated",
        instrument.id,
        performed,
        performed,
        CorrectionKind.TWO_POINT,
        instrument.unit,
        tuple(Point(true, shown) for true, shown in model.points),
        model.expanded,
        "demo reference",
        AUTHOR.name,
        now,
        note="invented for the demo",
    )
