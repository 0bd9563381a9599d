"""Grid steps gathered into whole windows of 30 s that lie fixed in time.

A window is only worked on when it is whole, so its figures do not depend on how the steps were
cut into blocks. Steps that were passed over count as steps without a value.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.grid import STEP
from steadybead_domain.readings import Float64, Int64

SIZE = 60  # steps: 30 s
WINDOW = SIZE * STEP


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """m whole windows. `start` int64 [m] µs; each column float64 [m, SIZE], NaN: not known."""

    start: Int64
    columns: Mapping[str, Float64]

    def __len__(self) -> int:
        """Count the windows."""
        return len(self.start)

    def take(self, rows: slice) -> "Windows":
        """Give some of the windows."""
        return Windows(self.start[rows], {name: c[rows] for name, c in self.columns.items()})

    def mean(self, name: str) -> Float64:
        """Give the means [m]; NaN where a step of the window is not known."""
        return np.asarray(self.columns[name].mean(axis=1))

    def spread(self, name: str) -> Float64:
        """Give the standard deviations [m]."""
        return np.asarray(self.columns[name].std(axis=1))

    def move(self, name: str) -> Float64:
        """Give how far the second half's mean lies above the first half's, [m]."""
        halves = self.columns[name].reshape(len(self), 2, SIZE // 2).mean(axis=2)
        return np.asarray(halves[:, 1] - halves[:, 0])


class Gatherer:
    """Keeps the steps of the window that is not whole yet."""

    def __init__(self, names: tuple[str, ...]) -> None:
        self.names = names
        self.next_step: int | None = None
        self.begun: Float64 = np.full((len(names), 0), np.nan)

    def update(self, start: int, columns: Mapping[str, Float64]) -> Windows:
        """Take steps start, start+1, …, one array [n] per name; give the windows made whole."""
        given = np.stack([columns[name] for name in self.names])
        begun = self._up_to(start)
        first = start - begun.shape[1]
        whole = np.concatenate((begun, given), axis=1) if begun.size else given
        count = whole.shape[1] // SIZE
        self.begun = whole[:, count * SIZE :].copy()
        self.next_step = start + given.shape[1]
        cut = whole[:, : count * SIZE].reshape(len(self.names), count, SIZE)
        begin = (first + SIZE * np.arange(count, dtype=np.int64)) * STEP
        return Windows(begin, dict(zip(self.names, cut, strict=True)))

    def _up_to(self, start: int) -> Float64:
        """Give the steps from a window's edge up to `start`; what was passed over is NaN."""
        edge = start // SIZE * SIZE
        if self.next_step is None:
            return np.full((len(self.names), start - edge), np.nan)
        gap = start - self.next_step
        if self.next_step - self.begun.shape[1] >= edge:
            return np.concatenate((self.begun, np.full((len(self.names), gap), np.nan)), axis=1)
        begun, lead = self.begun.shape[1], start - edge
        rest = (SIZE - begun) % SIZE if begun else 0
        filler = np.full((len(self.names), rest + lead), np.nan)
        return np.concatenate((self.begun, filler), axis=1)

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        rows = [[None if np.isnan(v) else float(v) for v in row] for row in self.begun]
        return {"names": list(self.names), "next": self.next_step, "begun": rows}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave; with other columns the begun window is dropped."""
        self.next_step = data["next"]
        if tuple(data["names"]) == self.names:
            rows = [[np.nan if v is None else v for v in row] for row in data["begun"]]
            self.begun = np.array(rows, np.float64).reshape(len(self.names), -1)
        elif self.next_step is not None:
            self.begun = np.full((len(self.names), self.next_step % SIZE), np.nan)
