"""Reference checks: a needle probe, or a flow meter, held to the gun beside the reading."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from steadybead_domain.calibration.timeline import Timeline, correct
from steadybead_domain.ids import ChannelId
from steadybead_domain.uncertainty.basis import CheckBasis
from steadybead_domain.uncertainty.line import fit_line

NEWEST_TAKEN: Final = 5
# project assumptions: flows this near count as one; the scatter of a single check; how fast the
# correction may change outside the flows that were checked
SAME_FLOW_SHARE: Final = 0.10
SINGLE_SCATTER_SHARE: Final = 0.0025
SINGLE_SCATTER_LEAST: Final = 0.2


@dataclass(frozen=True, slots=True)
class ReferenceCheck:
    """One check of a channel against a reference instrument at the nozzle, 5 mm inside it.

    `reference` and `shown` are in the channel's engineering unit, both steady; `flow_l_min` and
    `nozzle` say under what conditions. `expanded_uncertainty` with `coverage_factor` is that of
    the reference in use. Times are µs.
    """

    id: str
    channel: ChannelId
    time: int
    reference: float
    shown: float
    nozzle: str
    reference_instrument: str
    expanded_uncertainty: float
    author: str
    entered: int
    flow_l_min: float | None = None
    coverage_factor: float = 2.0
    occasion: str = ""
    revision: int = 1
    withdrawn: bool = False

    @property
    def deviation(self) -> float:
        """Give shown less reference: the error of the reading."""
        return self.shown - self.reference

    @property
    def standard(self) -> float:
        """Give the standard uncertainty of the reference."""
        return self.expanded_uncertainty / self.coverage_factor


@dataclass(frozen=True, slots=True)
class NozzleCorrection:
    """What to add to the reading on one nozzle at one flow, and what that stands on.

    `beyond`: the flow lies outside those checked, the nearest checked flow was taken.
    """

    value: float
    basis: CheckBasis
    checks: tuple[str, ...]
    beyond: bool = False


def checks_in_force(checks: Iterable[ReferenceCheck]) -> list[ReferenceCheck]:
    """Pick the newest revision of each check, without withdrawn ones, by time."""
    newest: dict[str, ReferenceCheck] = {}
    for check in checks:
        if check.id not in newest or newest[check.id].revision < check.revision:
            newest[check.id] = check
    return sorted((c for c in newest.values() if not c.withdrawn), key=lambda c: (c.time, c.id))


def recalibrated(checks: Iterable[ReferenceCheck], line: Timeline) -> list[ReferenceCheck]:
    """Put what each check was shown on the footing of the recalibrated trace."""
    kept = checks_in_force(checks)
    times = np.array([c.time for c in kept], np.int64)
    shown = np.array([c.shown for c in kept], np.float64)
    values = correct(line, times, shown).value
    return [replace(c, shown=float(v)) for c, v in zip(kept, values, strict=True)]


def nozzle_correction(
    checks: Iterable[ReferenceCheck],
    channel: ChannelId,
    nozzle: str,
    time: int,
    flow_l_min: float | None = None,
    since: int | None = None,
) -> NozzleCorrection | None:
    """Give the correction for a nozzle at a time, from checks not later than it; None without.

    Taken are the newest five checks of the channel on that nozzle since `since` (when the sensor
    was fitted). Where they were made at different flows, a straight line in flow is laid through
    them; otherwise their mean counts.
    """
    fitting = [
        c
        for c in checks_in_force(checks)
        if c.channel == channel
        and c.nozzle == nozzle
        and c.time <= time
        and (since is None or c.time >= since)
    ][-NEWEST_TAKEN:]
    if not fitting:
        return None
    value, scatter, dof, beyond = _estimate(fitting, flow_l_min)
    newest = fitting[-1]
    reference = max(c.standard for c in fitting)
    words = f"{len(fitting)} reference check(s) on {nozzle}, last by {newest.author}"
    basis = CheckBasis(reference, scatter, dof, time - newest.time, words)
    return NozzleCorrection(value, basis, tuple(c.id for c in fitting), beyond)


def _estimate(
    checks: Sequence[ReferenceCheck], flow_l_min: float | None
) -> tuple[float, float, float, bool]:
    """Give (correction, standard uncertainty by scatter, degrees of freedom, beyond)."""
    corrections = np.array([-c.deviation for c in checks])
    flows = [c.flow_l_min for c in checks if c.flow_l_min is not None]
    known = flow_l_min is not None and len(flows) == len(checks)
    if not known or flow_l_min is None:
        return (*_mean(checks, corrections), False)
    low, high = min(flows), max(flows)
    beyond = not (1 - SAME_FLOW_SHARE) * low <= flow_l_min <= (1 + SAME_FLOW_SHARE) * high
    if high - low <= SAME_FLOW_SHARE * high or len(checks) < 3:
        return (*_mean(checks, corrections), beyond)
    line = fit_line(np.array(flows), corrections, origin=(low + high) / 2)
    value, scatter = line.at(min(max(flow_l_min, low), high))
    return value, max(scatter, _single(checks) / math.sqrt(len(checks))), float(line.dof), beyond


def _mean(
    checks: Sequence[ReferenceCheck], corrections: np.ndarray[tuple[int], np.dtype[np.float64]]
) -> tuple[float, float, float]:
    n = len(corrections)
    single = _single(checks)
    if n < 3:
        return float(corrections.mean()), single / math.sqrt(n), math.inf
    scatter = max(float(corrections.std(ddof=1)), single)
    return float(corrections.mean()), scatter / math.sqrt(n), float(n - 1)


def _single(checks: Sequence[ReferenceCheck]) -> float:
    """Give the assumed scatter of one check, from the size of what was measured."""
    size = max(abs(c.reference) for c in checks)
    return max(SINGLE_SCATTER_SHARE * size, SINGLE_SCATTER_LEAST)
