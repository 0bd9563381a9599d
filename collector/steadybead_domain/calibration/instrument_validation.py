"""What may be wrong with an instrument, or with fitting it to a channel."""

import math
from collections.abc import Iterable, Iterator

from steadybead_domain.calibration.model import Fitting, Instrument
from steadybead_domain.calibration.validation import Problem
from steadybead_domain.conversion.units import UnitError, to_unit
from steadybead_domain.plant import Channel
from steadybead_domain.times import FURTHEST_AHEAD

LONGEST_INTERVAL_DAYS = 3660


def instrument_problems(instrument: Instrument, others: Iterable[Instrument]) -> list[Problem]:
    """List all mistakes; empty: it may be kept. `others` are the newest of all known."""
    problems = [*_text_problems(instrument), *_number_problems(instrument)]
    for other in others:
        if other.id == instrument.id:
            problems += _change_problems(instrument, other)
        elif other.serial.strip() == instrument.serial.strip():
            text = f"this serial number is instrument {other.id} already: use that one"
            problems.append(Problem("serial", text))
    return problems


def fitting_to_channel_problems(
    fitting: Fitting, instrument: Instrument | None, channel: Channel, now: int
) -> list[Problem]:
    """List what keeps an instrument from being fitted to a channel at all."""
    problems = []
    if instrument is None:
        text = f"there is no instrument {fitting.instrument}: enter it first"
        problems.append(Problem("instrument", text))
    else:
        problems += _unit_problems("instrument", instrument.unit, channel.unit)
    if fitting.end is not None and fitting.end > now + FURTHEST_AHEAD:
        problems.append(Problem("end", "the end lies in the future: enter it when it is done"))
    return problems


def _text_problems(instrument: Instrument) -> Iterator[Problem]:
    if not instrument.serial.strip():
        yield Problem("serial", "enter the serial number, or the number that you gave it")
    if not instrument.kind.strip():
        yield Problem("kind", 'say what it is, such as "type K, class 1, 1.5 mm sheath"')


def _number_problems(instrument: Instrument) -> Iterator[Problem]:
    yield from _unit_problems("unit", instrument.unit, instrument.unit)
    if not (math.isfinite(instrument.tolerance) and instrument.tolerance > 0.0):
        yield Problem("tolerance", "enter the largest error that still counts as good, above 0")
    days = instrument.interval_days
    if days is not None and not 1 <= days <= LONGEST_INTERVAL_DAYS:
        text = f"enter 1 to {LONGEST_INTERVAL_DAYS} days, or leave it out"
        yield Problem("interval_days", text)


def _change_problems(instrument: Instrument, before: Instrument) -> list[Problem]:
    """Hold a new unit to the dimension of the old one, in which there are records."""
    if not list(_unit_problems("unit", instrument.unit, instrument.unit)):
        return list(_unit_problems("unit", before.unit, instrument.unit))
    return []


def _unit_problems(field: str, unit: str, target: str) -> Iterator[Problem]:
    try:
        to_unit(unit, target)
    except UnitError as error:
        yield Problem(field, str(error))
