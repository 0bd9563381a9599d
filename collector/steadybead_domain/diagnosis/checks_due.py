"""Reference checks in the order in which the log reaches them."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import log
from typing import Any

from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity

HOT_C = 100.0
FIGURES = {Quantity.NOZZLE_TEMPERATURE: "probe", Quantity.AIR_FLOW: "meter"}


@dataclass(frozen=True, slots=True)
class CheckPoint:
    """What a sensor read too high at a check: `probe` in °C, `meter` in per cent of the flow."""

    time: int
    name: str
    value: float


class ChecksDue:
    """Holds the checks of one gun until the log has passed them; late ones come at once."""

    def __init__(self, station: Station, gun: str) -> None:
        self.channels: dict[ChannelId, str] = {}
        for quantity, name in FIGURES.items():
            channel = station.channel_of(quantity, gun)
            if channel is not None:
                self.channels[channel.id] = name
        self.waiting: list[ReferenceCheck] = []

    def note(self, check: ReferenceCheck) -> bool:
        """Take a check; False if it is withdrawn or of a channel that is not looked at here."""
        known = check.channel in self.channels and not check.withdrawn
        if known:
            self.waiting = sorted([*self.waiting, check], key=lambda c: c.time)
        return known

    def take(self, until: int) -> list[CheckPoint]:
        """Give the points before a time, in its order, and forget them."""
        due = [c for c in self.waiting if c.time < until]
        self.waiting = self.waiting[len(due) :]
        return [point for check in due if (point := self._point(check)) is not None]

    def _point(self, check: ReferenceCheck) -> CheckPoint | None:
        name = self.channels[check.channel]
        if name == "probe":
            hot = check.shown >= HOT_C
            return CheckPoint(check.time, name, check.deviation) if hot else None
        if check.shown <= 0 or check.reference <= 0:
            return None
        return CheckPoint(check.time, name, 100.0 * log(check.shown / check.reference))

    def dump(self) -> list[dict[str, Any]]:
        """Give the memory as JSON."""
        return [{**asdict(c), "channel": str(c.channel)} for c in self.waiting]

    def load(self, data: list[Mapping[str, Any]]) -> None:
        """Take up what `dump` gave."""
        self.waiting = [
            ReferenceCheck(**{**c, "channel": ChannelId.parse(c["channel"])}) for c in data
        ]
