"""What drifts at a gun: told by redundancy, from shift to shift and check to check."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.diagnosis.balance import EnergyBalance, Residual
from steadybead_domain.diagnosis.burn_in import HOT_ENOUGH_C, SETTLED_H, may_burn_in
from steadybead_domain.diagnosis.causes import (
    Signature,
    Weighed,
    in_question,
    merged,
    weigh,
    worth_telling,
)
from steadybead_domain.diagnosis.checks_due import CheckPoint, ChecksDue
from steadybead_domain.diagnosis.drift_words import finding_of, over_of
from steadybead_domain.diagnosis.feature import Feature, FeatureFacts
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.flow_alike import FlowAlike
from steadybead_domain.diagnosis.scope import Scope, scope_of
from steadybead_domain.diagnosis.shift_figures import Shift, StateFigures, StateReader
from steadybead_domain.diagnosis.signatures import (
    FAMILIES,
    FLOW_LEAST_PCT,
    FLOW_METER,
    FLOW_RAISED,
    THERMOCOUPLE,
    Sensitivity,
    signatures,
)
from steadybead_domain.diagnosis.windows import WINDOW, Windows
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import HOUR

FACTS: Mapping[str, FeatureFacts] = {
    "balance": FeatureFacts("%", 1.5, cautious=3.5),
    "set_gap": FeatureFacts("Cel", 0.8),
    "controller_gap": FeatureFacts("Cel", 1.2),
    "flow": FeatureFacts("%", 2.5),
    "resistance": FeatureFacts("%", 1.0),
    "supply": FeatureFacts("%", 1.0),
    "probe": FeatureFacts("Cel", 1.0, 5.0, most=6),
    "meter": FeatureFacts("%", 2.0, 10.0, most=6),
    "cold_emf": FeatureFacts("Cel", 0.5, 0.8),
    "cold_flow": FeatureFacts("L/min", 0.3, 0.7),
}
NOZZLE_TOLD = FeatureFacts("%", 0.9)
CHECKED: Mapping[str, tuple[str, str]] = {
    "probe": (THERMOCOUPLE, "a needle probe each shift would show it from about 3 °C"),
    "meter": (FLOW_METER, "a flow meter held to the nozzle each shift, from about 6 %"),
}
_FLOW_FIGURES = ("flow", "balance", "meter")
_SETTLED_WINDOWS = round(SETTLED_H * HOUR / WINDOW)
_BURNS_IN = ("balance", "set_gap", "controller_gap", "probe")
_NEEDS = {
    "balance": ("nozzle", "flow"),
    "set_gap": ("nozzle", "set"),
    "controller_gap": ("nozzle", "controller"),
    "flow": ("flow",),
    "resistance": ("supply", "output"),
    "supply": ("supply",),
    "cold_emf": ("nozzle", "terminal"),
    "cold_flow": ("flow",),
    "probe": ("nozzle",),
    "meter": ("flow",),
}


Shifted = tuple[float, float]


@dataclass(frozen=True, slots=True)
class ColdPoint:
    """A figure taken while all was cold and still: `cold_emf` or `cold_flow`."""

    time: int
    name: str
    value: float


@dataclass(slots=True)
class Told:
    """What was last told of the drift that stands: its cause, empty if it could not be told."""

    cause: str
    since: int
    size: float


class DriftWatch:
    """Sees steady states, reference checks and cold checks of one gun; names the likeliest cause.

    Each figure is charted on its own (tabular CUSUM, 70,000 points to a false signal); when one
    signals, all that moved since are weighed against the signatures of the causes. Without
    reference checks, drift of thermocouple, flow meter and power meter look alike in the balance:
    then it says so, and what check tells them apart. `scope` says what cannot be seen at all.
    """

    def __init__(self, station: Station, gun: str, names: Sequence[str]) -> None:
        self.station = station
        self.gun = gun
        self.reader = StateReader(station, gun)
        self.measured = "power" in names or {"current", "supply"} <= set(names)
        self.supply_known = "supply" in names
        self.has_power = self.measured or "output" in names
        self.balance = EnergyBalance(has_scale=self.measured)
        self.features = {n: Feature(facts) for n, facts in FACTS.items() if self._has(n, names)}
        self.checks = ChecksDue(station, gun)
        self.shift = Shift()
        self.alike = FlowAlike()
        self.hot_windows = 0
        self.settled_at: int | None = None if self._burns_in() else 0
        self.last: Residual | None = None
        self.flow_l_min = 50.0
        self.told: Told | None = None
        self.told_flow: Told | None = None
        self.begun: int | None = None
        self.refits: list[int] = []

    def _has(self, name: str, names: Sequence[str]) -> bool:
        if name == "balance" and not self.has_power:
            return False
        if name == "set_gap" and self.reader.regulated is not False:
            return False
        if name == "resistance" and not {"power", "current"} & set(names):
            return False
        return set(_NEEDS[name]) <= set(names)

    def _burns_in(self) -> bool:
        return may_burn_in(self.station.channel_of(Quantity.NOZZLE_TEMPERATURE, self.gun))

    def note(self, check: ReferenceCheck) -> bool:
        """Take a reference check; False if it is none of this gun's temperature or flow."""
        return self.checks.note(check)

    def relearn(self) -> None:
        """Learn anew, after a sensor, meter or element was changed or adjusted."""
        self.balance.forget()
        self.features = {name: Feature(FACTS[name]) for name in self.features}
        self.shift, self.alike = Shift(), FlowAlike()
        self.told = self.told_flow = self.last = None
        self.hot_windows = 0
        self.settled_at = None if self._burns_in() else 0

    def update(
        self, windows: Windows, states: Sequence[StateFigures], cold: Sequence[ColdPoint]
    ) -> list[Finding]:
        """Take what a block of windows brought, its states as `reader` reads them."""
        until = int(windows.start[-1]) + WINDOW
        self.begun = int(windows.start[0]) if self.begun is None else self.begun
        events: list[tuple[int, int, StateFigures | CheckPoint | ColdPoint | int]] = [
            *((t // WINDOW * WINDOW + WINDOW, 3, t) for t in self._refitted(until)),
            *((s.end + WINDOW, 0, s) for s in states),
            *((c.time, 1, c) for c in cold),
            *((c.time // WINDOW * WINDOW + WINDOW, 2, c) for c in self.checks.take(until)),
        ]
        events.sort(key=lambda e: e[:2])
        self._burn_in(windows)
        findings: list[Finding] = []
        for time, _, event in events:
            findings += self._close_before(time)
            findings += self._take(event)
        findings += self._close_before(until)
        return findings

    def _refitted(self, until: int) -> list[int]:
        """Take the refits before a time, but those of before anything was learnt."""
        due = [t for t in self.refits if t < until]
        self.refits = [t for t in self.refits if t >= until]
        return [t for t in due if self.begun is not None and t > self.begun]

    def _burn_in(self, windows: Windows) -> None:
        """Count hot windows until a new type K would have settled, and note when that was."""
        if self.settled_at is not None:
            return
        with np.errstate(invalid="ignore"):
            hot = (windows.mean("hot") == 1.0) & (windows.mean("nozzle") >= HOT_ENOUGH_C)
        count = self.hot_windows + np.cumsum(hot)
        self.hot_windows = int(count[-1])
        if self.hot_windows >= _SETTLED_WINDOWS:
            first = int(np.argmax(count >= _SETTLED_WINDOWS))
            self.settled_at = int(windows.start[first]) + WINDOW

    def _settled(self, time: int) -> bool:
        return self.settled_at is not None and self.settled_at <= time

    def _take(self, event: StateFigures | CheckPoint | ColdPoint | int) -> Iterator[Finding]:
        if isinstance(event, int):
            self.relearn()
            self.begun = event
            return
        if isinstance(event, StateFigures):
            if not self.shift.admits(event):
                yield from self._close(event.start)
            self.shift.states.append(event)
            return
        self._add(event.name, event.time, event.value)
        yield from self._judge(event.time)

    def _add(self, name: str, time: int, value: float, ended: int | None = None) -> None:
        feature = self.features.get(name)
        if feature is not None:
            burning = name in _BURNS_IN and not self._settled(time if ended is None else ended)
            feature.add(time, value, learn=not burning and self.told is None)

    def _close_before(self, time: int) -> Iterator[Finding]:
        closes_at = self.shift.closes_at()
        if closes_at is not None and closes_at <= time:
            yield from self._close(closes_at)

    def _close(self, time: int) -> Iterator[Finding]:
        """Turn the shift into one point of each figure."""
        shift, self.shift = self.shift, Shift()
        begun, ended = shift.states[0].start, shift.states[-1].end
        self.flow_l_min = _known(shift.states[-1].flow_l_min, self.flow_l_min)
        figures: dict[str, float | None] = {**shift.figures()}
        figures["flow"] = self._flow_of(shift)
        for name, value in figures.items():
            if value is not None:
                self._add(name, begun, value, ended)
        if "balance" in self.features and self._settled(ended):
            self._add_balance(shift, begun)
        yield from self._judge(time)

    def _flow_of(self, shift: Shift) -> float | None:
        """Give the flow at like number of other guns; learn anew where that has changed."""
        figure = self.alike.figure(shift.flows())
        if self.alike.lost and "flow" in self.features:
            self.alike, self.features["flow"] = FlowAlike(), Feature(FACTS["flow"])
            figure = self.alike.figure(shift.flows())
        return figure

    def _add_balance(self, shift: Shift, begun: int) -> None:
        points = shift.points()
        if not self.features["balance"].points and all(p.nozzle for p in points):
            self.features["balance"].facts = NOZZLE_TOLD
        residual = self.balance.residual(points)
        learnt = self.balance.learn(points)
        for found in [*learnt, *([] if residual is None else [residual])]:
            if found.sigma_w <= 0.02 * found.power_w:
                share = 100.0 * found.value_w / found.power_w
                self.features["balance"].add(begun, share, learn=self.told is None)
                self.last = found

    def _judge(self, time: int) -> Iterator[Finding]:
        """Weigh the causes of what signals; the flow, which is set by hand, apart from the rest."""
        rest = {n: f for n, f in self.features.items() if n != "flow"}
        signals = [f for f in rest.values() if f.side]
        if signals:
            since = min(o for f in signals if (o := f.onset()) is not None)
            shifts = _shifts(rest, since)
            weighed = merged(weigh(self.signatures(), shifts), FAMILIES)
            self.told, found = self._tell(time, since, weighed, shifts, self.told)
            yield from found
        elif self.told is not None and all(f.settled() for f in rest.values()):
            yield self._over(time, self.told)
            self.told = None
        if not signals and self.told is None and "flow" in self.features:
            yield from self._judge_flow(time, self.features["flow"])

    def _over(self, time: int, told: Told) -> Finding:
        return over_of((self.station, self.gun), time, told.cause, told.since)

    def _judge_flow(self, time: int, flow: Feature) -> Iterator[Finding]:
        since = flow.onset()
        if since is None:
            if self.told_flow is not None and flow.settled():
                yield self._over(time, self.told_flow)
                self.told_flow = None
            return
        near = {n: f for n, f in self.features.items() if n in _FLOW_FIGURES}
        shifts = _shifts(near, since)
        weighed = merged(weigh(self.signatures(), shifts), FAMILIES)
        if abs(shifts.get("flow", (0.0, 1.0))[0]) < FLOW_LEAST_PCT:
            return
        if weighed and weighed[0].cause == FLOW_RAISED:
            self.features["flow"] = Feature(FACTS["flow"])  # somebody set it so: learn that
            return
        self.told_flow, found = self._tell(time, since, weighed, shifts, self.told_flow)
        yield from found

    def _tell(
        self,
        time: int,
        since: int,
        weighed: Sequence[Weighed],
        shifts: Mapping[str, Shifted],
        told: Told | None,
    ) -> tuple[Told | None, list[Finding]]:
        """Give what stands told now, and the finding if that is news."""
        taken = worth_telling(in_question(weighed))
        if not taken or not _is_news(taken, told):
            return told, []
        begun = since if told is None else told.since
        place = (self.station, self.gun)
        finding = finding_of(place, time, begun, taken, shifts, self.features, self.scope())
        return Told(_cause(taken), begun, taken[0].size), [finding]

    def signatures(self) -> list[Signature]:
        """Give the signatures of the causes as they hold for this gun now."""
        last = self.last
        power = 1.0 if last is None else last.power_w / 100.0
        return signatures(
            Sensitivity(
                0.0 if last is None else last.per_c / power,
                0.0 if last is None else last.per_pct / power,
                self.flow_l_min,
                self.reader.regulated,
                self.measured,
                self.supply_known,
            ),
            cold_emf="cold_emf" in self.features,
            cold_flow="cold_flow" in self.features,
        )

    def scope(self) -> tuple[Scope, ...]:
        """Say for each cause the smallest size that can be seen with the channels at hand."""
        ready = {n: f.smallest() for n, f in self.features.items() if f.ready}
        unseen = {n for n, f in self.features.items() if not f.points and n in CHECKED}
        learning = [n for n, f in self.features.items() if not f.ready and n not in unseen]
        unchecked = dict(CHECKED[n] for n in unseen)
        return scope_of(self.signatures(), ready, learning, unchecked)

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        last, told, flow = self.last, self.told, self.told_flow
        return {
            "balance": self.balance.dump(),
            "features": {n: f.dump() for n, f in self.features.items()},
            "checks": self.checks.dump(),
            "shift": self.shift.dump(),
            "alike": self.alike.dump(),
            "scale": self.reader.scale,
            "nozzle_told": any(f.facts is NOZZLE_TOLD for f in self.features.values()),
            "hot_windows": self.hot_windows,
            "settled_at": self.settled_at,
            "flow_l_min": self.flow_l_min,
            "last": None if last is None else [getattr(last, n) for n in Residual.__slots__],
            "told": None if told is None else [told.cause, told.since, told.size],
            "begun": self.begun,
            "refits": self.refits,
            "told_flow": None if flow is None else [flow.cause, flow.since, flow.size],
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.balance.load(data["balance"])
        for name, feature in self.features.items():
            if name in data["features"]:
                feature.load(data["features"][name])
        if data["nozzle_told"] and "balance" in self.features:
            self.features["balance"].facts = NOZZLE_TOLD
        self.checks.load(data["checks"])
        self.shift.load(data["shift"])
        self.alike.load(data.get("alike", [None, [], 0]))
        self.reader.scale = data["scale"]
        self.hot_windows, self.settled_at = int(data["hot_windows"]), data["settled_at"]
        self.flow_l_min = float(data["flow_l_min"])
        self.last = None if data["last"] is None else Residual(*data["last"])
        self.told = None if data["told"] is None else Told(*data["told"])
        self.begun, self.refits = data["begun"], list(data["refits"])
        flow = data.get("told_flow")
        self.told_flow = None if flow is None else Told(*flow)


def _shifts(features: Mapping[str, Feature], since: int) -> dict[str, Shifted]:
    return {n: s for n, f in features.items() if (s := f.shift(since)) is not None}


def _is_news(taken: Sequence[Weighed], told: Told | None) -> bool:
    """Tell a first finding, another named cause, and one that has grown by half."""
    if told is None:
        return True
    cause = _cause(taken)
    if cause != told.cause:
        return cause != ""
    return cause != "" and abs(taken[0].size) > 1.5 * abs(told.size)


def _known(value: float, otherwise: float) -> float:
    return otherwise if np.isnan(value) else value


def _cause(taken: Sequence[Weighed]) -> str:
    return taken[0].cause if len(taken) == 1 else ""
