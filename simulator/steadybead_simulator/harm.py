"""What the faults of a station amount to in one block."""

from collections.abc import Callable, Iterable

import numpy as np

from steadybead_domain.readings import Float64
from steadybead_simulator.faults import Fault
from steadybead_simulator.instruments import Disturbed
from steadybead_simulator.spans import Mask


class Harm:
    """The faults of one station that touch the times t [n] of the block [start_s, end_s).

    `chance` makes the generator for loose contacts, by channel: drawn from apart, so that a fault
    leaves every other random number as it was.
    """

    def __init__(
        self,
        faults: Iterable[Fault],
        t: Float64,
        bounds: tuple[float, float],
        chance: Callable[[str], np.random.Generator],
    ) -> None:
        self._t, self._bounds, self._chance = t, bounds, chance
        self._faults = [f for f in faults if f.touches(*bounds)]
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
        start, end = self._bounds
        return [f for f in self._faults if f.kind.name == kind and start <= f.start_s < end]

    def _on(self, kind: str, gun: str | None, channel: str | None) -> list[Fault]:
        return [
            f for f in self._faults if f.kind.name == kind and f.gun == gun and f.channel == channel
        ]

    def of_channel(self, channel: str) -> Disturbed | None:
        """Give what happens to an instrument; None if nothing does."""
        if not any(f.channel == channel for f in self._faults):
            return None
        gain = self.amount("thermocouple_gain", channel=channel)
        gain = gain + self.amount("flow_meter_drift", channel=channel)
        offset = self.amount("thermocouple_offset", channel=channel)
        offset = offset + self.amount("flow_meter_zero", channel=channel)
        return Disturbed(
            gain / 100.0,
            offset + self.amount("pressure_zero", channel=channel),
            self.active("open_circuit", channel=channel) | self._loose(channel),
            self.active("stuck", channel=channel),
            self.active("swapped_leads", channel=channel),
            self.active("wrong_type", channel=channel),
            self.active("tube_off", channel=channel),
        )

    def _loose(self, channel: str) -> Mask:
        """Tell when a loose contact is open: for some seconds at a time."""
        share = self.amount("intermittent", channel=channel) / 100.0
        if not share.any():
            return self._never
        n = len(self._t)
        contact: Mask = np.repeat(self._chance(channel).random(n // 3 + 1), 3)[:n] < share
        return contact
