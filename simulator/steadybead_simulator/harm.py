"""What the faults of a station amount to in one block."""

from collections.abc import Iterable

import numpy as np

from steadybead_domain.readings import Float64
from steadybead_simulator.faults import Fault
from steadybead_simulator.instruments import Disturbed
from steadybead_simulator.spans import Mask


class Harm:
    """The faults of one station that touch the times t [n] of a block."""

    def __init__(self, faults: Iterable[Fault], t: Float64) -> None:
        self._t = t
        end = float(t[-1]) + 1.0
        self._faults = [f for f in faults if f.touches(float(t[0]), end)]
        self._nothing = np.zeros(len(t))
        self._never = np.zeros(len(t), np.bool_)

    def amount(self, kind: str, *, gun: str | None = None, channel: str | None = None) -> Float64:
        """Add up the sizes of one kind on one place, [n]; not to be written to."""
        found = self._on(kind, gun, channel)
        return sum((f.amount(self._t) for f in found), self._nothing) if found else self._nothing

    def active(self, kind: str, *, gun: str | None = None, channel: str | None = None) -> Mask:
        """Tell when one kind is there on one place, [n]; not to be written to."""
        found = self._on(kind, gun, channel)
        return np.logical_or.reduce([f.active(self._t) for f in found]) if found else self._never

    def starting(self, kind: str) -> list[Fault]:
        """Give the faults of a kind that begin in this block."""
        first, last = float(self._t[0]), float(self._t[-1])
        return [f for f in self._faults if f.kind.name == kind and first <= f.start_s <= last]

    def _on(self, kind: str, gun: str | None, channel: str | None) -> list[Fault]:
        return [
            f for f in self._faults if f.kind.name == kind and f.gun == gun and f.channel == channel
        ]

    def of_channel(self, channel: str, rng: np.random.Generator) -> Disturbed | None:
        """Give what happens to an instrument; None if nothing does."""
        if not any(f.channel == channel for f in self._faults):
            return None
        share = self.amount("intermittent", channel=channel) / 100.0
        contact = np.repeat(rng.random(len(self._t) // 3 + 1), 3)[: len(self._t)]
        gain = self.amount("thermocouple_gain", channel=channel)
        gain = gain + self.amount("flow_meter_drift", channel=channel)
        offset = self.amount("thermocouple_offset", channel=channel)
        offset = offset + self.amount("flow_meter_zero", channel=channel)
        return Disturbed(
            gain / 100.0,
            offset + self.amount("pressure_zero", channel=channel),
            self.active("open_circuit", channel=channel) | (contact < share),
            self.active("stuck", channel=channel),
            self.active("swapped_leads", channel=channel),
            self.active("wrong_type", channel=channel),
            self.active("tube_off", channel=channel),
        )
