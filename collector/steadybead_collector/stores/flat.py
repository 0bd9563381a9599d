"""A batch end to end in flat arrays, checked: what every store takes in."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Batch, Columns, Int64, Quality, Reason

TIME_LIMIT = 2**61  # ±73 000 years in µs: differences of two times stay inside int64
_TYPES: dict[str, np.dtype[Any]] = {
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
    """Join the columns of a batch into new arrays; channels without a reading are left out.

    Raises ValueError on NaN or infinity, on a time beyond ±2^61 µs, on an unknown quality or
    reason number, and on columns of another type or of unequal length.
    """
    named = [(name, columns) for name, columns in batch.columns.items() if len(columns.time)]
    parts = [columns for _, columns in named]
    lengths = [len(c.time) for c in parts]
    starts = np.zeros(len(named) + 1, np.int64)
    np.cumsum(lengths, out=starts[1:])
    joined = Columns(
        _joined("time", [c.time for c in parts], lengths),
        _joined("value", [c.value for c in parts], lengths),
        _joined("raw", [c.raw for c in parts], lengths),
        _joined("quality", [c.quality for c in parts], lengths),
        _joined("reason", [c.reason for c in parts], lengths),
        _joined("plant", [c.plant for c in parts], lengths),
    )
    _check_content(joined)
    return Flat(tuple([name for name, _ in named]), starts, joined)


def _joined(field: str, parts: list[npt.NDArray[Any]], lengths: list[int]) -> npt.NDArray[Any]:
    """Join arrays of one column. Bytes join faster than numpy concatenates many short arrays."""
    dtype = _TYPES[field]
    if [part.dtype for part in parts].count(dtype) != len(parts):
        raise ValueError(f"a column {field!r} is not {dtype}")
    if list(map(len, parts)) != lengths:
        raise ValueError(f"a column {field!r} differs in length from its times")
    buffers: Any = parts
    try:
        return np.frombuffer(b"".join(buffers), dtype)
    except (BufferError, TypeError, ValueError):  # some part is a view with gaps
        return np.concatenate(parts)


def _check_content(rows: Columns) -> None:
    if not len(rows):
        return
    if not (np.isfinite(rows.value).all() and np.isfinite(rows.raw).all()):
        raise ValueError("NaN or infinity is no reading: refuse it before the store")
    if rows.time.min() < -TIME_LIMIT or rows.time.max() > TIME_LIMIT:
        raise ValueError("a time beyond ±2^61 µs is no time of a reading")
    if rows.quality.max() > max(Quality) or rows.reason.max() > max(Reason):
        raise ValueError("a quality or reason number that this version does not know")
