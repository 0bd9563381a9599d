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
REMEMBERED = 200  # checks: some months of one each shift and nozzle
FIGURES = {Quantity.NOZZLE_TEMPERATURE: "probe", Quantity.AIR_FLOW: "meter"}


@dataclass(frozen=True, slots=True)
class CheckPoint:
    """What a sensor read too high at a check: `probe` in °C, `meter` in per cent of the flow."""

    time: int
    name: str
    value: float


class ChecksDue:
    """Holds the checks of one gun until the log has passed them; late ones come at once.

    A correction takes the place of the check that it corrects. One of a check that is charted
    already is left out, so that no check counts twice; what was charted stays.
    """

    def __init__(self, station: Station, gun: str) -> None:
        self.channels: dict[ChannelId, str] = {}
        for quantity, name in FIGURES.items():
            channel = station.channel_of(quantity, gun)
            if channel is not None:
                self.channels[channel.id] = name
        self.waiting: list[ReferenceCheck] = []
        self.taken: list[str] = []

    def note(self, check: ReferenceCheck) -> bool:
        """Take a check; False if it is not to be charted: of another channel, withdrawn, known."""
        if check.channel not in self.channels or check.id in self.taken:
            return False
        same = [c for c in self.waiting if c.id == check.id]
        if any(c.revision > check.revision for c in same):
            return False
        others = [c for c in self.waiting if c.id != check.id]
        new = [] if check.withdrawn else [check]
        self.waiting = sorted([*others, *new], key=lambda c: c.time)
        return not check.withdrawn

    def take(self, until: int) -> list[CheckPoint]:
        """Give the points before a time, in its order, and forget them."""
        due = [c for c in self.waiting if c.time < until]
        self.waiting = self.waiting[len(due) :]
        self.taken = [*self.taken, *(c.id for c in due)][-REMEMBERED:]
        return [point for check in due if (point := self._point(check)) is not None]

    def _point(self, check: ReferenceCheck) -> CheckPoint | None:
        name = self.channels[check.channel]
        if name == "probe":
            hot = check.shown >= HOT_C
            return CheckPoint(check.time, name, check.deviation) if hot else None
        if check.shown <= 0 or check.reference <= 0:
            return None
        return CheckPoint(check.time, name, 100.0 * log(check.shown / check.reference))

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        waiting = [{**asdict(c), "channel": str(c.channel)} for c in self.waiting]
        return {"waiting": waiting, "taken": self.taken}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.waiting = [
            ReferenceCheck(**{**c, "channel": ChannelId.parse(c["channel"])})
            for c in data["waiting"]
        ]
        self.taken = list(data["taken"])
