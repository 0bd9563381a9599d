"""Filter drop and outlet pressure with the air off: they must read 0."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.feature import Feature, FeatureFacts
from steadybead_domain.diagnosis.finding import OVER, Finding, Sureness
from steadybead_domain.diagnosis.gun_state import OFF, States
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.windows import WINDOW, Gatherer, Windows
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import HOUR, MINUTE

FACTS = {
    Quantity.FILTER_PRESSURE_DROP: FeatureFacts("Pa", 3.0, 4.0),
    Quantity.OUTLET_PRESSURE: FeatureFacts("Pa", 30.0, 60.0),
}
LEAST = {Quantity.FILTER_PRESSURE_DROP: 12.0, Quantity.OUTLET_PRESSURE: 200.0}
MOTOR_A = 0.3
FLOW_L_MIN = 6.0
_STILL = 5 * MINUTE // WINDOW
_APART = 1 * HOUR


class ZeroCheck:
    """Sees the air source while all guns are off and no air goes; one point an hour.

    The air counts as off where the motor draws nothing, else where all flows read near 0. A window
    is taken only once the next one was still as well: as a blower runs up, the pressure is there
    some seconds before the motor's current shows it, and a single such window looked like a zero
    that is off. Delay
    as `Feature`: a zero far off shows at the first point. Not detectable: an error of the gain,
    and a zero off by less than `LEAST`, which is of no interest beside the pressures that matter.
    """

    def __init__(self, station: Station) -> None:
        self.station = station
        self.figures = {q: Feature(f) for q, f in FACTS.items() if station.channel_of(q)}
        self.motor = station.channel_of(Quantity.MOTOR_CURRENT) is not None
        self.gatherer = Gatherer((*(q.value for q in self.figures), "still"))
        self.held = 0
        self.last: int | None = None
        self.before: dict[str, float | None] = {}
        self.told: set[str] = set()

    def smallest(self, channel: str) -> float | None:
        """Give the smallest error of a channel's zero that is told, Pa; None if it learns yet."""
        for quantity, figure in self.figures.items():
            own = self.station.channel_of(quantity)
            if own is not None and own.id.channel == channel and figure.ready:
                return max(LEAST[quantity], figure.smallest())
        return None

    def update(self, start: int, traces: Traces, states: Mapping[str, States]) -> list[Finding]:
        """Give the findings that the steps start, start+1, … allow; `states` of every gun."""
        if not self.figures or not states:
            return []
        columns = {q.value: traces.value(q) for q in self.figures}
        columns["still"] = self._still(traces, states).astype(np.float64)
        return list(self._points(self.gatherer.update(start, columns)))

    def _still(self, traces: Traces, states: Mapping[str, States]) -> Any:
        still = np.logical_and.reduce([s == OFF for s in states.values()])
        with np.errstate(invalid="ignore"):
            if self.motor:
                return still & (traces.value(Quantity.MOTOR_CURRENT) < MOTOR_A)
            for gun in states:
                still = still & (np.abs(traces.value(Quantity.AIR_FLOW, gun)) < FLOW_L_MIN)
        return still

    def _points(self, windows: Windows) -> Iterator[Finding]:
        still = windows.mean("still") == 1.0
        means = {q: windows.mean(q.value) for q in self.figures}
        for i in range(len(windows)):
            self.held = self.held + 1 if still[i] else 0
            time = int(windows.start[i]) + WINDOW
            enclosed, self.before = (
                self.before,
                {
                    q.value: float(column[i]) if np.isfinite(column[i]) else None
                    for q, column in means.items()
                },
            )
            if self.held <= _STILL or (self.last is not None and time - self.last < _APART):
                continue
            self.last = time
            for quantity in means:
                value = enclosed.get(quantity.value)
                if value is not None:
                    yield from self._judge(quantity, time, value)

    def _judge(self, quantity: Quantity, time: int, value: float) -> Iterator[Finding]:
        figure = self.figures[quantity]
        figure.add(time, value)
        since = figure.onset()
        if since is None:
            if figure.calm() and abs(value) < LEAST[quantity] and quantity.value in self.told:
                self.told.discard(quantity.value)
                yield self._finding(quantity, time, time, value, over=True)
            return
        if quantity.value in self.told or abs(value) < LEAST[quantity]:
            return
        self.told.add(quantity.value)
        yield self._finding(quantity, time, since, value)

    def _finding(
        self, quantity: Quantity, time: int, since: int, value: float, *, over: bool = False
    ) -> Finding:
        channel = self.station.channel_of(quantity)
        assert channel is not None  # noqa: S101
        to_do = "Set the sensor's zero with both taps open; look for water in the tube."
        return Finding(
            "pressure_zero" + OVER * over,
            self.station.id,
            None,
            channel.id,
            time,
            since,
            f"{channel.id.channel}: reads {value:+.0f} Pa with the air off{', as before' * over}.",
            "Nothing." if over else to_do,
            Sureness.LIKELY,
            value,
            0.0,
            self.figures[quantity].level.sigma,
            LEAST[quantity],
            "Pa",
        )

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "figures": {q.value: f.dump() for q, f in self.figures.items()},
            "gatherer": self.gatherer.dump(),
            "held": self.held,
            "last": self.last,
            "before": self.before,
            "told": sorted(self.told),
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        for quantity, figure in self.figures.items():
            if quantity.value in data["figures"]:
                figure.load(data["figures"][quantity.value])
        self.gatherer.load(data["gatherer"])
        self.before = dict(data.get("before", {}))
        self.held, self.last, self.told = int(data["held"]), data["last"], set(data["told"])
