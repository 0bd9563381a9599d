"""Judged steps on which the slow checks have still to look."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

import numpy as np

from steadybead_domain.diagnosis.grid import Trace
from steadybead_domain.diagnosis.gun_state import States
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.plant import Station


@dataclass(slots=True)
class PutOff:
    """Blocks without a gap between them, joined to one when they are taken.

    A slow check gives the same however the steps are cut into blocks; looking at twenty steps at
    once costs it hardly more than looking at one.
    """

    start: int = 0
    steps: int = 0
    blocks: list[tuple[Mapping[str, Trace], Mapping[str, States]]] = field(default_factory=list)

    def add(
        self, start: int, n: int, traces: Mapping[str, Trace], states: Mapping[str, States]
    ) -> None:
        """Add the steps start … start+n-1; ValueError unless they follow what is there."""
        if self.steps and start != self.start + self.steps:
            raise ValueError(f"step {start} does not follow step {self.start + self.steps - 1}")
        self.start = start if not self.steps else self.start
        self.steps += n
        self.blocks.append((traces, states))

    def take(self, station: Station) -> tuple[int, Traces, dict[str, States]]:
        """Give the first step, the traces and the guns' states; then nothing is put off."""
        start, n, blocks = self.start, self.steps, self.blocks
        self.steps, self.blocks = 0, []
        if len(blocks) == 1:
            traces, states = blocks[0]
            return start, Traces(station, traces, n), dict(states)
        joined = {name: _joined([traces[name] for traces, _ in blocks]) for name in blocks[0][0]}
        guns = {gun: np.concatenate([states[gun] for _, states in blocks]) for gun in blocks[0][1]}
        return start, Traces(station, joined, n), guns


def _joined(parts: list[Trace]) -> Trace:
    columns = (np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Trace))
    return Trace(*columns)
