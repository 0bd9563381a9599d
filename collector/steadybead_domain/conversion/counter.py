"""Pulse flow meters: the flow is the rise of a running count over time."""

from typing import NamedTuple

import numpy as np

from steadybead_domain.conversion.carried import Carried
from steadybead_domain.conversion.specs import PulseCounter
from steadybead_domain.conversion.wire import Mask, lies_within
from steadybead_domain.readings import Float64, Int64
from steadybead_domain.times import MINUTE, SECOND


class PulseFlow(NamedTuple):
    """The flow in L/min at the meter [n], 0.0 where `unknown` [n] says that none can be told.

    `unknown` None: it is told everywhere.
    """

    flow_l_min: Float64
    unknown: Mask | None


def check_counter(spec: PulseCounter) -> None:
    """Raise ValueError with the remedy if the counter's numbers make no sense."""
    if not spec.litres_per_pulse > 0.0:
        raise ValueError("litres_per_pulse must be above 0")
    if spec.rolls_over_at < 2:
        raise ValueError("rolls_over_at must be 2 or more: the first count that never shows")


def pulse_flow(
    spec: PulseCounter,
    carried: Carried,
    time: Int64,
    count: Float64,
    highest_l_min: float,
    *,
    max_gap_us: int = MINUTE,
) -> PulseFlow:
    """Turn counts [n], in order of arrival, into mean flow since the count before in time.

    A count lower than the one before is a roll-over if the flow that this implies is no more
    than `highest_l_min`; otherwise the counter restarted and no flow can be told for that one
    reading. Nor can it for the first count, or one more than `max_gap_us` after the one before.
    """
    view = carried.view(time, count)
    arrived = np.arange(view.before, view.before + len(time))
    place = view.latest(time - 1, arrived, max_gap_us - 1)
    rise = count - view.value.take(place, mode="clip")
    elapsed_us = time - view.time.take(place, mode="clip")
    if lies_within(rise, 0.0, np.inf) and lies_within(place, 0, np.inf):
        return PulseFlow(_flow(rise, elapsed_us, spec), None)
    known = place >= 0
    elapsed_us[~known] = SECOND
    flow = _flow(rise, elapsed_us, spec)
    rolled = _flow(rise + spec.rolls_over_at, elapsed_us, spec)
    is_roll_over = (rise < 0.0) & (rolled >= 0.0) & (rolled <= highest_l_min)
    known &= (rise >= 0.0) | is_roll_over
    flow = np.where(is_roll_over, rolled, flow)
    return PulseFlow(np.where(known, flow, 0.0), ~known)


def _flow(rise: Float64, elapsed_us: Int64, spec: PulseCounter) -> Float64:
    return rise * spec.litres_per_pulse * (MINUTE / elapsed_us)
