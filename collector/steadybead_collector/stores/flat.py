"""A batch end to end, checked: what every store takes in."""

import operator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import (
    COLUMN_TYPES,
    Batch,
    Columns,
    Int64,
    Joined,
    Quality,
    Reason,
)

TIME_LIMIT = 2**61  # ±73 000 years in µs: differences of two times stay inside int64
_COLUMNS = operator.attrgetter(*COLUMN_TYPES)
_DTYPES = list(COLUMN_TYPES.values())
_WORST, _LAST_REASON = max(Quality), max(Reason)


@dataclass(frozen=True, slots=True, eq=False)
class Flat:
    """Readings of k channels end to end: channel i owns rows `starts[i]` to `starts[i + 1]`."""

    names: tuple[ChannelId, ...]
    starts: Int64
    rows: Columns

    def __len__(self) -> int:
        """Count the readings of all channels."""
        return len(self.rows.time)

    def of(self, i: int) -> Columns:
        """Give the rows of the i-th channel."""
        return self.rows.take(slice(int(self.starts[i]), int(self.starts[i + 1])))

    def batch(self, received: int) -> Batch:
        """Give the same readings by channel."""
        return Batch(received, Joined(self.names, self.starts, self.rows))


def flatten(batch: Batch) -> Flat:
    """Join the columns of a batch, if they are not joined; channels without a reading are left out.

    Nobody can write to what it gives. Raises ValueError on NaN or infinity, on a time beyond
    ±2^61 µs, on an unknown quality or reason number, and on columns of another type or of unequal
    length.
    """
    joined = batch.columns
    if not isinstance(joined, Joined):
        joined = Joined.of(joined)
    else:
        arrays = _COLUMNS(joined.rows)
        _check_form(joined, arrays)
        if any(array.flags.writeable for array in arrays):
            joined = Joined.of(dict(joined))
    if len(joined.rows):
        _check_content(joined.rows)
    return Flat(joined.names, joined.starts, joined.rows)


def _check_form(joined: Joined, arrays: tuple[npt.NDArray[Any], ...]) -> None:
    n, starts = len(joined.rows), joined.starts
    if (
        [array.dtype for array in arrays] != _DTYPES
        or any(len(array) != n for array in arrays)
        or len(starts) != len(joined.names) + 1
        or starts[0] != 0
        or starts[-1] != n
        or not (starts[1:] > starts[:-1]).all()
    ):
        raise ValueError("joined columns do not fit together in type, length or starts")


def _check_content(rows: Columns) -> None:
    if not (np.isfinite(rows.value).all() and np.isfinite(rows.raw).all()):
        raise ValueError("NaN or infinity is no reading: refuse it before the store")
    if rows.time.min() < -TIME_LIMIT or rows.time.max() > TIME_LIMIT:
        raise ValueError("a time beyond ±2^61 µs is no time of a reading")
    if rows.quality.max() > _WORST or rows.reason.max() > _LAST_REASON:
        raise ValueError("a quality or reason number that this version does not know")
