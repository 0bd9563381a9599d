"""The aligned 10-minute window: the unit in which readings are packed, sealed and forgotten."""

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from steadybead_domain.ports import Span
from steadybead_domain.readings import Int64
from steadybead_domain.times import DAY, HOUR, MINUTE

WINDOW = 10 * MINUTE
WINDOWS_AN_HOUR = HOUR // WINDOW
WINDOWS_A_DAY = DAY // WINDOW
PART_READINGS = 65_536  # the most that one part of `read` holds


def forgettable(window: Int64, before: int, keep: Iterable[Span]) -> npt.NDArray[np.bool_]:
    """Tell of each window number whether it ended by `before` and touches no kept span."""
    drop: npt.NDArray[np.bool_] = (window + 1) * WINDOW <= before
    for span in keep:
        if span.start < span.end:
            drop &= ((window + 1) * WINDOW <= span.start) | (window * WINDOW >= span.end)
    return drop
