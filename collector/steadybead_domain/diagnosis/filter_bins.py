"""A run of a filter in at most 64 bins of equal width, however long it gets."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from steadybead_domain.readings import Float64

MOST = 64


@dataclass(slots=True)
class RunBins:
    """Bins over the air volume since the run began; when they are full, neighbours are joined."""

    width: float = 0.0
    n: list[int] = field(default_factory=list)
    x: list[float] = field(default_factory=list)
    y: list[float] = field(default_factory=list)
    zeros: list[int] = field(default_factory=list)
    away: list[float] = field(default_factory=list)

    def add(self, x: float, y: float, away: float = 0.0, *, at_zero: bool = False) -> bool:
        """Take a point, x ascending from 0; tell whether it begins a new bin."""
        if self.width <= 0:
            self.width = x if x > 0 else 0.0
        place = int(x / self.width) if self.width > 0 else 0
        while place >= MOST:
            self._join()
            place = int(x / self.width)
        begun = place >= len(self.n)
        while place >= len(self.n):
            for column, empty in (
                (self.n, 0),
                (self.x, 0.0),
                (self.y, 0.0),
                (self.zeros, 0),
                (self.away, 0.0),
            ):
                column.append(empty)  # type: ignore[arg-type]
        self.n[place] += 1
        self.x[place] += x
        self.y[place] += y
        self.zeros[place] += at_zero
        self.away[place] += away
        return begun

    def _join(self) -> None:
        self.width *= 2.0
        self.n, self.zeros = _paired(self.n), _paired(self.zeros)
        self.x, self.y = _paired(self.x), _paired(self.y)
        self.away = _paired(self.away)

    def scale(self, factor: float) -> None:
        """Multiply all points by a factor."""
        self.y = [y * factor for y in self.y]

    def whole(self) -> tuple[Float64, Float64, Float64, Float64, Float64]:
        """Give x, y, n and the share of zeros of the bins; the last one only if half full."""
        n = np.array(self.n, np.float64)
        filled = n > 0
        filled[-1:] &= n[-1:] >= 0.5 * n[-2:-1].sum()
        n = n[filled]
        x, y, zeros, away = (
            np.array(c, np.float64)[filled] for c in (self.x, self.y, self.zeros, self.away)
        )
        return x / n, y / n, n, zeros / n, away / n

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {"width": self.width, "n": self.n, "x": self.x, "y": self.y, "zeros": self.zeros}


def _paired(column: list[Any]) -> list[Any]:
    padded = [*column, 0] if len(column) % 2 else column
    return [a + b for a, b in zip(padded[::2], padded[1::2], strict=True)]
