"""The air source without a pressure drop over its filter: pressure before the valves, at one flow.

A filter that fills takes a per cent or two of the pressure, long before anybody sees it in the
flow. So pressure over intake density is brought to one flow, one supply voltage and one set of
open guns by a line learnt in the first shifts, and charted from shift to shift. What has fallen
is flow margin: filter, blower, intake and belt look alike, and nothing is told of Pa over a filter.
"""

from collections.abc import Iterator, Mapping
from math import log
from typing import Any

import numpy as np

from steadybead_domain.diagnosis.charts.trend import theil_sen
from steadybead_domain.diagnosis.feature import Feature, FeatureFacts
from steadybead_domain.diagnosis.finding import OVER, Finding, Sureness
from steadybead_domain.diagnosis.margin_line import MarginLine
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.windows import WINDOW, Gatherer
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import HOUR

FACTS = FeatureFacts("%", 0.5, most=10)
FEWEST = 30  # windows of 30 s that make a shift
GAP = 4 * HOUR
OPEN_L_MIN = 15.0
KEPT = 60  # shifts behind the forecast
PRESSURE_EXPONENT = 0.5  # flow through valve and nozzle goes with the root of the pressure
_COLUMNS = ("outlet", "kelvin", "ambient", "supply")
_ROOM_K, _AMBIENT_PA, _VOLTS = 293.15, 101_325.0, 230.0
KIND = "flow_margin_falling"


class FlowMargin:
    """Needs outlet pressure, intake temperature and every gun's flow, and no drop channel.

    Uses ambient pressure and supply voltage where they are. One point a shift, charted as a
    `Feature` (70,000 points to a false signal; delay there); only a fall is told. `smallest_pct`
    says which loss of flow it can see. Not detectable: which part of the air source it is.
    """

    def __init__(self, station: Station) -> None:
        self.station = station
        outlet = station.channel_of(Quantity.OUTLET_PRESSURE)
        needed = [outlet, station.channel_of(Quantity.INTAKE_TEMPERATURE)]
        needed += [station.channel_of(Quantity.AIR_FLOW, gun) for gun in station.guns]
        has_drop = station.channel_of(Quantity.FILTER_PRESSURE_DROP) is not None
        self.able = all(c is not None for c in needed) and bool(station.guns) and not has_drop
        self.channel = None if outlet is None else outlet.id
        self.gatherer = Gatherer((*_COLUMNS, *station.guns))
        self.line = MarginLine()
        self.feature = Feature(FACTS)
        self.rows: list[tuple[int, str, float, float, float]] = []
        self.last = 0
        self.ran_h = 0.0
        self.trend: list[tuple[float, float]] = []
        self.usual_l_min = 50.0
        self.told: tuple[int, float] | None = None

    @property
    def smallest_pct(self) -> float | None:
        """Give the smallest lasting loss of flow, in %, that is found within five shifts."""
        return PRESSURE_EXPONENT * self.feature.smallest() if self.feature.ready else None

    def update(self, start: int, traces: Traces, low_l_min: float | None) -> list[Finding]:
        """Give the findings of the steps start, …; `low_l_min`: the procedure's for one gun."""
        if not self.able:
            return []
        windows = self.gatherer.update(start, self._columns(traces))
        found: list[Finding] = []
        means = {name: windows.mean(name) for name in windows.columns}
        for i in range(len(windows)):
            time = int(windows.start[i])
            if self.rows and time - self.last >= GAP:
                found += self._close(self.last + WINDOW + GAP, low_l_min)
            row = self._row(time, {name: float(column[i]) for name, column in means.items()})
            if row is not None:
                self.rows.append(row)
                self.last = time
        return found

    def _columns(self, traces: Traces) -> dict[str, Float64]:
        def known(quantity: Quantity, otherwise: float) -> Float64:
            value = traces.value(quantity)
            return np.where(np.isnan(value), otherwise, value)

        columns = {gun: traces.value(Quantity.AIR_FLOW, gun) for gun in self.station.guns}
        return columns | {
            "outlet": traces.value(Quantity.OUTLET_PRESSURE),
            "kelvin": traces.value(Quantity.INTAKE_TEMPERATURE) + 273.15,
            "ambient": known(Quantity.AMBIENT_PRESSURE, _AMBIENT_PA),
            "supply": known(Quantity.SUPPLY_VOLTAGE, _VOLTS),
        }

    def _row(
        self, time: int, m: Mapping[str, float]
    ) -> tuple[int, str, float, float, float] | None:
        """Give the open guns, ln(pressure / density), ln(flow of all) and ln(voltage)."""
        guns = [g for g in self.station.guns if m[g] > OPEN_L_MIN]
        total = sum(m[g] for g in self.station.guns)
        if not guns or np.isnan(total) or not m["outlet"] > 0.0 or not m["kelvin"] > 0.0:
            return None
        density = m["ambient"] / _AMBIENT_PA * _ROOM_K / m["kelvin"]
        self.ran_h += WINDOW / HOUR
        pressure = log(m["outlet"] / density)
        return time, ",".join(guns), pressure, log(total), log(max(m["supply"], 1.0) / _VOLTS)

    def _close(self, time: int, low_l_min: float | None) -> Iterator[Finding]:
        rows, self.rows = self.rows, []
        if len(rows) < FEWEST:
            return
        flows = [np.exp(r[3]) / (r[1].count(",") + 1) for r in rows]
        self.usual_l_min += 0.2 * (float(np.median(flows)) - self.usual_l_min)
        left: list[tuple[int, float]] = []
        for guns in sorted({row[1] for row in rows}):
            own = [row for row in rows if row[1] == guns]
            if len(own) < FEWEST:
                continue
            pressure, flow, volts = (float(np.median([r[i] for r in own])) for i in (2, 3, 4))
            known = self.line.left(guns, pressure, flow, volts)
            if known is None:
                self.line.learn(guns, pressure, flow, volts)
            else:
                left.append((len(own), known))
        if not left:
            return
        point = 100.0 * sum(n * v for n, v in left) / sum(n for n, _ in left)
        self.feature.add(rows[0][0], point, learn=self.told is None)
        self.trend = [*self.trend[1 - KEPT :], (self.ran_h, point)]
        yield from self._judge(time, point, low_l_min)

    def _judge(self, time: int, point: float, low_l_min: float | None) -> Iterator[Finding]:
        since = self.feature.onset()
        if since is None or self.feature.side > 0:
            if self.told is not None and self.feature.settled():
                yield self._finding(time, time, (point, None), low_l_min, over=True)
                self.told = None
            return
        shift = self.feature.shift(since)
        if shift is None or (self.told is not None and shift[0] > 1.5 * self.told[1]):
            return
        begun = since if self.told is None else self.told[0]
        self.told = (begun, shift[0])
        yield self._finding(time, begun, shift, low_l_min)

    def _finding(
        self,
        time: int,
        since: int,
        shift: tuple[float, float | None],
        low_l_min: float | None,
        *,
        over: bool = False,
    ) -> Finding:
        lost = -PRESSURE_EXPONENT * shift[0]
        ahead = None if over else self._ahead_h(low_l_min)
        return Finding(
            KIND + OVER * over,
            self.station.id,
            None,
            self.channel,
            time,
            since,
            "pressure before the valves is at its old level again."
            if over
            else _words(lost, shift[0], ahead, low_l_min, self.smallest_pct),
            "Nothing."
            if over
            else "Look at intake and filter first, then blower, belt and supply;"
            " a sensor of the drop over the filter would tell them apart.",
            Sureness.LIKELY,
            shift[0],
            0.0,
            shift[1],
            None if self.smallest_pct is None else -self.smallest_pct / PRESSURE_EXPONENT,
            "%",
            (
                ("flow_margin_lost_pct", lost),
                ("smallest_flow_loss_pct", self.smallest_pct),
                ("margin_low_h", None if ahead is None else ahead[0]),
                ("margin_h", None if ahead is None else ahead[1]),
                ("margin_high_h", None if ahead is None else ahead[2]),
            ),
        )

    def _ahead_h(self, low_l_min: float | None) -> tuple[float, float, float | None] | None:
        """Give the hours with air until the flow at unmoved valves is below what is asked."""
        if low_l_min is None or len(self.trend) < 6 or self.usual_l_min <= low_l_min:
            return None
        hours, points = (np.array(column) for column in zip(*self.trend, strict=True))
        line = theil_sen(hours, PRESSURE_EXPONENT * points, 0.8)
        left = -100.0 * log(self.usual_l_min / low_l_min)
        if line.slope >= 0.0 or line.low >= 0.0:
            return None
        high = left / line.high if line.high < 0.0 else None
        return left / line.low, left / line.slope, high

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        plain = {name: getattr(self, name) for name in _PLAIN}
        parts = {name: getattr(self, name).dump() for name in _PARTS}
        return plain | parts

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        for name in _PLAIN:
            setattr(self, name, data[name])
        for name in _PARTS:
            getattr(self, name).load(data[name])
        self.rows = [(t, g, p, q, v) for t, g, p, q, v in data["rows"]]
        self.trend = [(h, v) for h, v in data["trend"]]
        self.told = None if data["told"] is None else (data["told"][0], data["told"][1])


_PLAIN = ("rows", "last", "ran_h", "trend", "usual_l_min", "told")
_PARTS = ("gatherer", "line", "feature")


def _words(
    lost: float,
    shift: float,
    ahead: tuple[float, float, float | None] | None,
    low_l_min: float | None,
    smallest: float | None,
) -> str:
    said = (
        f"air path restriction or weaker blower: pressure before the valves {shift:+.1f} % at equal"
        f" flow, density and supply; that is {lost:.1f} % of the flow"
    )
    if ahead is not None:
        high = "open" if ahead[2] is None else f"{ahead[2]:.0f} h"
        said += (
            f"; with unmoved valves below {low_l_min:.0f} L/min in about {ahead[1]:.0f} h with air"
            f" (80 %: {ahead[0]:.0f} h to {high})"
        )
    if smallest is not None:
        said += f"; a loss of less than {smallest:.1f} % cannot be seen here"
    return said + "."
