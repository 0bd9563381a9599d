"""Running logic over grid steps in columns, carried from block to block without a seam.

Every function gives the same columns however the steps are cut into blocks, because only whole
numbers, booleans and untouched values are carried; no running sum is.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from steadybead_domain.readings import Float64, Int64

Bool = npt.NDArray[np.bool_]
_FEW = 100  # known steps in so many, or fewer: carried piece by piece
Scalar = TypeVar("Scalar", bound=np.generic)


def hold(values: npt.NDArray[Scalar], known: Bool, before: Any) -> npt.NDArray[Scalar]:
    """Carry each known value forward; `before` stands until the first one. Shapes [n]."""
    if len(known) == 1:
        return values.copy() if known[0] else np.full(1, before, values.dtype)
    at = np.flatnonzero(known)
    if _FEW * len(at) < len(known):
        held = np.full(len(known), before, values.dtype)
        for low, high in pairwise([*at.tolist(), len(known)]):
            held[low:high] = values[low]
        return held
    last = np.maximum.accumulate(np.where(known, np.arange(len(known)), -1))
    held = values[last]
    held[last < 0] = before
    return held


def latch(on: Bool, off: Bool, before: bool) -> Bool:
    """Give a set-reset memory, `on` winning; `before` is its state ahead of the first step."""
    return hold(on, on | off, before)


def run_length(condition: Bool, before: int) -> Int64:
    """Count the steps for which the condition has held up to each step, itself included."""
    if len(condition) == 1:
        return np.array([before + 1 if condition[0] else 0], np.int64)
    index = np.arange(len(condition))
    broken = np.maximum.accumulate(np.where(condition, -1, index))
    return np.where(broken < 0, index + 1 + before, index - broken)


def changes(state: npt.NDArray[Scalar], before: Any) -> list[int]:
    """Give the steps at which a column differs from the step before."""
    if len(state) == 1:
        return [0] if state[0] != before else []
    differs = state[1:] != state[:-1]
    later = (np.flatnonzero(differs) + 1).tolist()
    return [0, *later] if len(state) and state[0] != before else later


@dataclass(slots=True)
class Delay:
    """On-delay and off-delay of a condition, in steps.

    It turns on once the condition has held for `on_steps`, off once it has not for `off_steps`;
    at a muted step it is off and its counts start again.
    """

    on_steps: int
    off_steps: int
    active: bool = False
    held: int = 0
    absent: int = 0

    def update(self, condition: Bool, muted: Bool | None = None) -> Bool:
        """Give the delayed state at each step."""
        if not len(condition):
            return condition
        mute = np.zeros_like(condition) if muted is None else muted
        present, missing = condition & ~mute, ~condition | mute
        held = run_length(present, self.held)
        absent = run_length(missing, self.absent)
        active = latch(held >= self.on_steps, (absent >= self.off_steps) | mute, self.active)
        self.active = bool(active[-1])
        self.held, self.absent = int(held[-1]), int(absent[-1])
        return active

    def pass_over(self, steps: int) -> None:
        """Take steps without the condition, as `update` does while it is not active."""
        self.held, self.absent = 0, self.absent + steps

    def dump(self) -> list[int]:
        """Give the memory as JSON."""
        return [int(self.active), self.held, self.absent]

    def load(self, data: Any) -> None:
        """Take up what `dump` gave."""
        self.active, self.held, self.absent = bool(data[0]), int(data[1]), int(data[2])


class Window:
    """How many of the last `size` steps a condition held; counted in whole numbers."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.past: Bool = np.zeros(size, np.bool_)

    def update(self, condition: Bool) -> Int64:
        """Give the count at each step, itself included."""
        if len(condition) == 1:
            self.past[:-1] = self.past[1:]
            self.past[-1] = condition[0]
            return np.array([np.count_nonzero(self.past)], np.int64)
        both = np.concatenate((self.past, condition))
        self.past = both[len(both) - self.size :].copy()
        total = np.cumsum(both, dtype=np.int64)
        return total[self.size :] - total[: len(condition)]

    def dump(self) -> str:
        """Give the memory as JSON."""
        return "".join("1" if held else "0" for held in self.past)

    def load(self, data: str) -> None:
        """Take up what `dump` gave, as far as the size is the same."""
        if len(data) == self.size:
            self.past = np.array([held == "1" for held in data], np.bool_)


class Memory:
    """The last `size` values of a column, so that a step can look back into earlier blocks."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.values: Float64 = np.full(size, np.nan)

    def joined(self, column: Float64) -> Float64:
        """Give the remembered values followed by the column, then remember its end."""
        both = np.concatenate((self.values, column))
        self.values = both[len(both) - self.size :].copy()
        return both

    def dump(self) -> list[float | None]:
        """Give the memory as JSON."""
        return [None if np.isnan(v) else float(v) for v in self.values]

    def load(self, data: Any) -> None:
        """Take up what `dump` gave."""
        self.values = np.array([np.nan if v is None else v for v in data], np.float64)


def frozen(column: npt.NDArray[Scalar], judged: Bool, before: Any) -> npt.NDArray[Scalar]:
    """Spread a column computed on the judged steps only over all steps, each value held."""
    spread = np.zeros(len(judged), column.dtype)
    spread[judged] = column
    return hold(spread, judged, before)
