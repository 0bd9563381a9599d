"""The supply voltage against its own usual level, within minutes: a sag of some hours.

The drift watch charts one point a shift; a sag that comes and goes within the shift does not move
that point. Here the level is the median of the last hours, so a new level that stays becomes the
usual one, and that is told as its end.
"""

from collections.abc import Iterator, Mapping
from statistics import median
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.drift_words import SUPPLY_TO_DO
from steadybead_domain.diagnosis.finding import OVER, Finding, Sureness
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.signatures import SUPPLY
from steadybead_domain.diagnosis.windows import WINDOW, Gatherer
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity

LEAST_PCT = 4.0  # less is of no interest; as in the signature. A project assumption
POINT = 10  # windows: 5 min
HOUR_POINTS = 12
HOURS, FEWEST_HOURS = 40, 4
LEAST_SIGMA_PCT = 0.5
SIGMAS = 5.0
FEWEST, MENDED = 2, 6  # points
DEAD_SHARE = 0.5  # of the level; below it is no supply, or no reading of it


class SupplyWatch:
    """Needs the supply voltage. One point in 5 min, two beyond 4 % or 5 σ make a finding.

    Delay 10 min. Nothing is said in the first four hours. Memory: 40 hours' medians and a few
    points. Not detectable: a slow change over weeks, which the drift watch charts, and dips of
    seconds, which are how machines start.
    """

    def __init__(self, station: Station) -> None:
        channel = station.channel_of(Quantity.SUPPLY_VOLTAGE)
        self.channel = None if channel is None else channel.id
        self.gatherer = Gatherer(("supply",))
        self.windows: list[float] = []
        self.points: list[float] = []
        self.hours: list[float] = []
        self.off: list[tuple[int, float]] = []
        self.calm = 0
        self.told = False

    def update(self, start: int, traces: Traces) -> list[Finding]:
        """Give the findings that the steps start, start+1, … allow."""
        if self.channel is None:
            return []
        windows = self.gatherer.update(start, {"supply": traces.value(Quantity.SUPPLY_VOLTAGE)})
        volts = windows.mean("supply")
        found: list[Finding] = []
        for i in np.flatnonzero(np.isfinite(volts)).tolist():
            self.windows.append(float(volts[i]))
            if len(self.windows) == POINT:
                point, self.windows = median(self.windows), []
                found += self._take(int(windows.start[i]) + WINDOW, point)
        return found

    def _take(self, time: int, volts: float) -> Iterator[Finding]:
        level = median(self.hours) if len(self.hours) >= FEWEST_HOURS else None
        if level is not None:
            if volts < DEAD_SHARE * level:
                return
            yield from self._judge(time, volts, level)
        self.points.append(volts)
        if len(self.points) == HOUR_POINTS:
            self.hours = [*self.hours[1 - HOURS :], median(self.points)]
            self.points = []

    def _judge(self, time: int, volts: float, level: float) -> Iterator[Finding]:
        least = self.smallest_pct() or LEAST_PCT
        change = 100.0 * (volts / level - 1.0)
        same_way = not self.off or change * self.off[-1][1] > 0
        if abs(change) >= least and same_way:
            self.off = [*self.off[:1], (time, change)]
        else:
            self.off = []
        self.calm = self.calm + 1 if abs(change) < 0.5 * least else 0
        if not self.told and len(self.off) >= FEWEST:
            self.told = True
            yield self._finding(time, (volts, level))
        elif self.told and self.calm >= MENDED:
            self.told = False
            yield self._finding(time, (volts, level), over=True)

    def smallest_pct(self) -> float | None:
        """Give the smallest change that is told, in % of the level; None while it learns."""
        if self.channel is None or len(self.hours) < FEWEST_HOURS:
            return None
        level = median(self.hours)
        spread = 148.26 * median([abs(v - level) for v in self.hours]) / level
        return max(LEAST_PCT, SIGMAS * max(spread, LEAST_SIGMA_PCT))

    def _finding(self, time: int, seen: tuple[float, float], *, over: bool = False) -> Finding:
        assert self.channel is not None  # noqa: S101
        volts, level = seen
        change = 100.0 * (volts / level - 1.0)
        since = self.off[0][0] - POINT * WINDOW if self.off and not over else time
        lower = "lower" if change < 0 else "higher"
        words = f"the supply voltage is {abs(change):.1f} % {lower} than usual"
        return Finding(
            SUPPLY + OVER * over,
            self.channel.station_id,
            None,
            self.channel,
            time,
            since,
            f"the supply voltage is at {volts:.0f} V, as usual again."
            if over
            else f"{words}: {volts:.0f} V for {level:.0f} V.",
            "Nothing." if over else SUPPLY_TO_DO,
            Sureness.LIKELY,
            volts,
            level,
            None,
            0.01 * (self.smallest_pct() or LEAST_PCT) * level,
            "V",
        )

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        plain = {name: getattr(self, name) for name in _PLAIN}
        return plain | {"gatherer": self.gatherer.dump()}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        for name in _PLAIN:
            setattr(self, name, data[name])
        self.off = [(int(t), float(v)) for t, v in data["off"]]
        self.gatherer.load(data["gatherer"])


_PLAIN = ("windows", "points", "hours", "off", "calm", "told")
