"""A batch end to end in flat arrays, checked: what every store takes in."""

from dataclasses import dataclass

import numpy as np

from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Batch, Columns, Int64, Quality, Reason

TIME_LIMIT = 2**61  # ±73 000 years in µs: differences of two times stay inside int64
_FIELDS = ("time", "value", "raw", "quality", "reason", "plant")
_TYPES = {
    "time": np.dtype(np.int64),
    "value": np.dtype(np.float64),
    "raw": np.dtype(np.float64),
    "quality": np.dtype(np.uint8),
    "reason": np.dtype(np.uint8),
    "plant": np.dtype(np.uint32),
}


@dataclass(frozen=True, slots=True, eq=False)
class Flat:
    """Readings of k channels end to end: channel i owns rows `starts[i]` to `starts[i + 1]`."""

    names: tuple[ChannelId, ...]
    starts: Int64
    rows: Columns

    def __len__(self) -> int:
        """Count the readings of all channels."""
        return len(self.rows)

    def of(self, i: int) -> Columns:
        """Give the rows of the i-th channel."""
        return self.rows.take(slice(int(self.starts[i]), int(self.starts[i + 1])))

    def batch(self, received: int) -> Batch:
        """Give the same readings by channel."""
        return Batch(received, {name: self.of(i) for i, name in enumerate(self.names)})


def flatten(batch: Batch) -> Flat:
    """Join the columns of a batch; channels without a reading are left out.

    Raises ValueError on NaN or infinity, on a time beyond ±2^61 µs, on an unknown quality or
    reason number, and on columns of another type or of unequal length.
    """
    named = [(name, columns) for name, columns in batch.columns.items() if len(columns.time)]
    lengths = np.fromiter((len(c.time) for _, c in named), np.int64, len(named))
    starts = np.zeros(len(named) + 1, np.int64)
    np.cumsum(lengths, out=starts[1:])
    joined = _joined([c for _, c in named])
    _check_shape([c for _, c in named], joined, int(starts[-1]))
    _check_content(joined)
    return Flat(tuple(name for name, _ in named), starts, joined)


def _joined(parts: list[Columns]) -> Columns:
    """Join into new arrays, so that the caller may change its own afterwards."""
    return (
        parts[0].take(np.arange(len(parts[0].time))) if len(parts) == 1 else Columns.concat(parts)
    )


def _check_shape(parts: list[Columns], joined: Columns, n: int) -> None:
    for field in _FIELDS:
        array = getattr(joined, field)
        if array.dtype != _TYPES[field]:
            raise ValueError(f"column {field!r} is {array.dtype}, not {_TYPES[field]}")
        if len(array) != n:
            raise ValueError(f"column {field!r} has {len(array)} rows where time has {n}")
    if any(not len(c.time) == len(c.value) == len(c.raw) == len(c.plant) for c in parts):
        raise ValueError("the columns of a channel differ in length")


def _check_content(rows: Columns) -> None:
    if not len(rows):
        return
    if not (np.isfinite(rows.value).all() and np.isfinite(rows.raw).all()):
        raise ValueError("NaN or infinity is no reading: refuse it before the store")
    if rows.time.min() < -TIME_LIMIT or rows.time.max() > TIME_LIMIT:
        raise ValueError("a time beyond ±2^61 µs is no time of a reading")
    if rows.quality.max() > max(Quality) or rows.reason.max() > max(Reason):
        raise ValueError("a quality or reason number that this version does not know")
