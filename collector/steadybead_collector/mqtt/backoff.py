"""Pauses between attempts: doubled each time, with a random part so that clients spread out."""

import random


class Backoff:
    """Gives the next pause in seconds; `reset` after a success."""

    def __init__(self, first_s: float = 0.2, longest_s: float = 15.0) -> None:
        self._first_s, self._longest_s = first_s, longest_s
        self._next_s = first_s

    def next(self) -> float:
        """Give a pause between half and the whole of the present step."""
        step_s = self._next_s
        self._next_s = min(2 * step_s, self._longest_s)
        return step_s * random.uniform(0.5, 1.0)  # noqa: S311  spreads load, hides nothing

    def reset(self) -> None:
        """Start again from the first pause."""
        self._next_s = self._first_s
