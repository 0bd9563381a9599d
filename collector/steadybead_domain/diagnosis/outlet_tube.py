"""Outlet pressure that reads next to nothing while the guns blow: its tube is off."""

from collections.abc import Iterator, Mapping
from statistics import median
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.finding import OVER, Finding, Sureness
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.windows import WINDOW, Gatherer
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import MINUTE

KIND = "pressure_lost"
BLOWS_L_MIN = 20.0  # any gun; a project assumption
SHARE = 0.1  # of the usual pressure with air on
POINT = 2 * MINUTE // WINDOW
CONFIRMED, KEPT, FEWEST = 3, 40, 10  # points


class OutletTube:
    """Needs outlet pressure and flow. Told after 6 min of air with less than a tenth of the usual.

    The flow shows that the pressure is there. Not detectable: a tube that leaks a little; the
    zero is checked with the air off.
    """

    def __init__(self, station: Station) -> None:
        channel = station.channel_of(Quantity.OUTLET_PRESSURE)
        self.station = station
        self.channel = None if channel is None else channel.id
        self.gatherer = Gatherer(("outlet", "flow"))
        self.windows: list[float] = []
        self.points: list[float] = []
        self.gone = 0
        self.told: int | None = None

    def update(self, start: int, traces: Traces) -> list[Finding]:
        """Give the findings that the steps start, start+1, … allow."""
        if self.channel is None or not self.station.guns:
            return []
        flows = [traces.value(Quantity.AIR_FLOW, gun) for gun in self.station.guns]
        columns = {
            "outlet": traces.value(Quantity.OUTLET_PRESSURE),
            "flow": np.fmax.reduce(flows),
        }
        windows = self.gatherer.update(start, columns)
        outlet, flow = windows.mean("outlet"), windows.mean("flow")
        found: list[Finding] = []
        with np.errstate(invalid="ignore"):
            blows = np.flatnonzero((flow > BLOWS_L_MIN) & np.isfinite(outlet))
        for i in blows.tolist():
            self.windows.append(float(outlet[i]))
            if len(self.windows) == POINT:
                point, self.windows = median(self.windows), []
                found += self._take(int(windows.start[i]) + WINDOW, point)
        return found

    def _take(self, time: int, pressure: float) -> Iterator[Finding]:
        usual = median(self.points) if len(self.points) >= FEWEST else None
        if usual is None or pressure >= SHARE * usual:
            self.points = [*self.points[1 - KEPT :], pressure]
            self.gone = 0
            if self.told is not None and usual is not None:
                self.told = None
                yield self._finding(time, time, (pressure, usual), over=True)
            return
        self.gone += 1
        if self.gone >= CONFIRMED and self.told is None:
            self.told = time
            since = time - CONFIRMED * POINT * WINDOW
            yield self._finding(time, since, (pressure, usual))

    def _finding(
        self, time: int, since: int, seen: tuple[float, float], *, over: bool = False
    ) -> Finding:
        assert self.channel is not None  # noqa: S101
        pressure, usual = seen
        words = f"{self.channel.channel}: reads {pressure:.0f} Pa while the guns blow"
        return Finding(
            KIND + OVER * over,
            self.station.id,
            None,
            self.channel,
            time,
            since,
            f"{words}, as usual again." if over else f"{words}; usual are {usual:.0f} Pa.",
            "Nothing."
            if over
            else "Look whether the tube to the pressure sensor is off or kinked, then at the"
            " sensor; the air itself is there by the flow.",
            Sureness.LIKELY,
            pressure,
            usual,
            None,
            SHARE * usual,
            "Pa",
        )

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        plain = {name: getattr(self, name) for name in _PLAIN}
        return plain | {"gatherer": self.gatherer.dump()}

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        for name in _PLAIN:
            setattr(self, name, data[name])
        self.gatherer.load(data["gatherer"])


_PLAIN = ("windows", "points", "gone", "told")
