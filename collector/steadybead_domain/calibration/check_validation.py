"""What may be wrong with a reference check before it is kept."""

import math
from collections.abc import Iterable

from steadybead_domain.calibration.reference_check import ReferenceCheck, checks_in_force
from steadybead_domain.calibration.validation import Problem
from steadybead_domain.plant import Channel
from steadybead_domain.times import FURTHEST_AHEAD, SECOND

# project assumption: two checks of one nozzle this near in time are one, entered twice
SAME_CHECK_US = 30 * SECOND


def check_problems(
    check: ReferenceCheck, channel: Channel, others: Iterable[ReferenceCheck], now: int
) -> list[Problem]:
    """List all mistakes; empty: it may be kept. `others` are all known checks."""
    problems = [*_number_problems(check, channel), *_text_problems(check)]
    if check.time > now + FURTHEST_AHEAD:
        problems.append(Problem("time", "it lies in the future: enter it when it is done"))
    if any(_is_repeat(check, other) for other in checks_in_force(others)):
        text = "this check is on record already: enter a revision of it, or check again"
        problems.append(Problem("time", text))
    return problems


def _number_problems(check: ReferenceCheck, channel: Channel) -> list[Problem]:
    facts = channel.quantity.facts
    problems = []
    unit = "°C" if facts.unit == "Cel" else facts.unit
    for field, value in (("reference", check.reference), ("shown", check.shown)):
        if not (math.isfinite(value) and facts.low <= value <= facts.high):
            text = f"{value:g} {unit} cannot be: enter {facts.low:g} to {facts.high:g}"
            problems.append(Problem(field, text))
    if not (math.isfinite(check.expanded_uncertainty) and check.expanded_uncertainty > 0.0):
        text = "enter the U of the reference instrument in use, above 0"
        problems.append(Problem("expanded_uncertainty", text))
    if not 1.0 <= check.coverage_factor <= 4.0:
        problems.append(Problem("coverage_factor", "enter the k that goes with U, mostly 2"))
    flow = check.flow_l_min
    if flow is not None and not (math.isfinite(flow) and 0.0 < flow <= 1000.0):
        problems.append(Problem("flow_l_min", "enter the flow in L/min, or leave it out"))
    return problems


def _text_problems(check: ReferenceCheck) -> list[Problem]:
    asked = (
        ("nozzle", check.nozzle, "say which nozzle was on"),
        ("reference_instrument", check.reference_instrument, "enter the probe's serial number"),
        ("author", check.author, "say who did it"),
    )
    return [Problem(field, remedy) for field, value, remedy in asked if not value.strip()]


def _is_repeat(check: ReferenceCheck, other: ReferenceCheck) -> bool:
    return (
        other.id != check.id
        and other.channel == check.channel
        and other.nozzle == check.nozzle
        and abs(other.time - check.time) <= SAME_CHECK_US
    )
