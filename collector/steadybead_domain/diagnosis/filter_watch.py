"""The intake filter of a station: its drop and the flow of all guns, followed window by window."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from steadybead_domain.alarms.change import Change
from steadybead_domain.diagnosis.filter import DUE, FELL, REACHED, ROSE, FilterTracker, FilterUpdate
from steadybead_domain.diagnosis.filter_data import Sample
from steadybead_domain.diagnosis.filter_leak import LEAK, LeakSign
from steadybead_domain.diagnosis.filter_steps import FilterSteps
from steadybead_domain.diagnosis.finding import Finding, Sureness
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.windows import WINDOW, Gatherer
from steadybead_domain.maintenance import FilterChange
from steadybead_domain.plant import Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_domain.times import HOUR, SECOND

AFRESH = 4 * HOUR  # a forecast is told again so often
LEAST_SEEN = 8 * HOUR  # of running before a forecast: a shift's heat and habits look like growth
LEAST_FLOW_L_MIN = 15.0  # all guns together; less is no air: a project assumption
VISCOSITY_EXPONENT = 0.7  # of air near 20 °C, µ ∝ T^0.7, from memory
REFERENCE_K = 293.15
_KINDS = {
    DUE: "filter_due",
    REACHED: "filter_limit",
    ROSE: "filter_blocked",
    FELL: "filter_fell",
    LEAK: "air_leak",
}
_NEXT = {
    "filter_due": "Plan the change; have a filter at hand.",
    "filter_limit": "Change the filter and record the change.",
    "filter_blocked": "Look at the intake at once: cover, film, wet or blocked filter.",
    "air_leak": "Listen and feel along hose and couplings for escaping air, also at a gun that"
    " stands by; look at the intake if nothing is found.",
    "filter_fell": "Record the change; else look whether the filter is torn or the tube off, and"
    " whether the sensor reads 0 with the air off.",
    "filter_forecast": "Nothing yet; plan the change by the forecast.",
}
_COLUMNS = ("drop", "flow", "kelvin")


@dataclass(slots=True)
class Told:
    """What was said last: the kind that is active, and when the forecast was given."""

    kind: str = ""
    since: int = 0
    forecast: int = 0


class FilterWatch:
    """Needs a pressure-drop channel over the filter and the flow of every gun.

    Not detectable without the channel. The limit is the plant file's; without one only the growth
    is known. Findings: a forecast every four hours, none in the first eight hours of running, and
    each sign at once; signs are alarms too.
    """

    def __init__(self, station: Station) -> None:
        self.station = station
        self.tracker = FilterTracker(station.air.intake_filter_limit_pa, LEAST_FLOW_L_MIN)
        self.gatherer = Gatherer(_COLUMNS)
        channel = station.channel_of(Quantity.FILTER_PRESSURE_DROP)
        self.channel = None if channel is None else channel.id
        self.steps, self.leak = FilterSteps(), LeakSign()
        self.changes: list[int] = []
        self.told = Told()
        self.seen = 0

    def note(self, change: FilterChange) -> None:
        """Take recorded work on the filter; it holds from its time, a mere look changes nothing."""
        if change.begins_anew and change.time not in self.changes:
            self.changes = sorted([*self.changes[-15:], change.time])

    def update(self, start: int, traces: Traces) -> tuple[list[Change], list[Finding]]:
        """Give the changes and findings that the steps start, start+1, … allow."""
        changed: list[Change] = []
        found: list[Finding] = []
        if self.channel is None:
            return changed, found
        windows = self.gatherer.update(start, self._columns(traces))
        drop, flow, kelvin = (windows.mean(name) for name in _COLUMNS)
        usable = np.flatnonzero(~np.isnan(drop) & ~np.isnan(flow))
        drop *= (REFERENCE_K / kelvin) ** VISCOSITY_EXPONENT
        for i in usable.tolist():
            time = int(windows.start[i]) + WINDOW
            changed += self._begun_anew(time)
            self.seen += WINDOW
            for update in self._updates(time, float(drop[i]), float(flow[i])):
                told = self._held_back(update)
                changed += self._changes(time, told)
                found += self._findings(time, told)
        return changed, found

    def _updates(self, time: int, drop_pa: float, flow: float) -> list[FilterUpdate]:
        """Give what the tracker says, and the smaller falls and leaks that it does not know of."""
        began = self.tracker.began
        updates = self.tracker.update(Sample(time / SECOND, drop_pa, flow))
        if flow <= LEAST_FLOW_L_MIN:
            return updates
        self.leak.update(drop_pa, flow)
        anew = self.tracker.began != began
        updates = [self.leak.named(u, anew=anew) for u in updates]
        if anew:
            self.steps.begin_anew()
            return updates
        if self.steps.update(drop_pa, flow, self.tracker.flow.exponent) is not None:
            self.leak.taken = ""
            updates.append(self.tracker.fell(time / SECOND))
        return updates

    def _held_back(self, told: FilterUpdate) -> FilterUpdate:
        """Take the forecast out of what is told while too little running has been seen."""
        if self.seen >= LEAST_SEEN:
            return told
        finding = None if told.finding == DUE else told.finding
        return replace(told, finding=finding, remaining_s=None, low_s=None, high_s=None)

    def _columns(self, traces: Traces) -> dict[str, Float64]:
        flow = sum(
            (traces.value(Quantity.AIR_FLOW, gun) for gun in self.station.guns),
            start=np.zeros_like(traces.blank),
        )
        intake = traces.value(Quantity.INTAKE_TEMPERATURE)
        kelvin = np.where(np.isnan(intake), REFERENCE_K, intake + 273.15)
        drop = traces.value(Quantity.FILTER_PRESSURE_DROP)
        return {"drop": drop, "flow": flow, "kelvin": kelvin}

    def _begun_anew(self, time: int) -> list[Change]:
        due = [t for t in self.changes if t <= time]
        if not due:
            return []
        self.changes = [t for t in self.changes if t > time]
        self.tracker.begin_anew()
        self.steps.begin_anew()
        self.seen = 0
        return self._turned(time, "", None)

    def _changes(self, time: int, told: FilterUpdate) -> list[Change]:
        if told.finding in _KINDS:
            return self._turned(time, _KINDS[told.finding], told.resistance)
        return self._turned(time, "", told.resistance) if told.finding is None else []

    def _turned(self, time: int, kind: str, value: float | None) -> list[Change]:
        before, limit = self.told.kind, self.tracker.limit_pa
        if kind == before:
            return []
        self.told.kind, self.told.since = kind, time
        where = None if self.channel is None else self.channel.channel
        return [
            Change(time, shown, active, None, where, value, limit, "Pa")
            for shown, active in ((before, False), (kind, True))
            if shown
        ]

    def _findings(self, time: int, told: FilterUpdate) -> list[Finding]:
        kind = _KINDS.get(told.finding or "", "filter_forecast")
        forecast = kind == "filter_forecast"
        if forecast:
            if told.remaining_s is None or time - self.told.forecast < AFRESH:
                return []
        elif self.told.since != time and not self._is_due_again(kind, time, told):
            return []
        if kind in ("filter_forecast", "filter_due"):
            self.told.forecast = time
        return [
            Finding(
                kind,
                self.station.id,
                None,
                self.channel,
                time,
                time if forecast else self.told.since,
                _words(told, self.tracker.limit_pa),
                _NEXT[kind],
                Sureness.LIKELY,
                told.resistance,
                None,
                self.tracker.noise.sigma,
                self.tracker.limit_pa,
                "Pa",
                (
                    ("remaining_h", _hours(told.remaining_s)),
                    ("low_h", _hours(told.low_s)),
                    ("high_h", _hours(told.high_s)),
                    ("growth_per_h", told.growth_per_h),
                    ("flow_exponent", self.tracker.flow.exponent),
                ),
            )
        ]

    def _is_due_again(self, kind: str, time: int, told: FilterUpdate) -> bool:
        """Tell whether the hours left of a filter that is due are to be told afresh."""
        known = kind == "filter_due" and told.remaining_s is not None
        return known and time - self.told.forecast >= AFRESH

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        told = self.told
        return {
            "limit": self.tracker.limit_pa,
            "tracker": self.tracker.dump(),
            "steps": self.steps.dump(),
            "leak": self.leak.dump(),
            "gatherer": self.gatherer.dump(),
            "changes": self.changes,
            "seen": self.seen,
            "told": [told.kind, told.since, told.forecast],
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.tracker.load(data["tracker"])
        if "steps" in data:
            self.steps.load(data["steps"])
            self.leak.load(data["leak"])
        self.gatherer.load(data["gatherer"])
        self.changes = list(data["changes"])
        self.seen = int(data["seen"])
        self.told = Told(*data["told"])


def _hours(seconds: float | None) -> float | None:
    return None if seconds is None else seconds / 3600.0


def length_words(seconds: float) -> str:
    """Write a length of time with about two digits, in h, min or s."""
    for unit_s, unit in ((3600.0, "h"), (60.0, "min")):
        if seconds >= 9.95 * unit_s:
            return f"{seconds / unit_s:.0f} {unit}"
        if seconds >= 0.995 * unit_s:
            return f"{seconds / unit_s:.1f} {unit}"
    return f"{seconds:.0f} s"


def _words(told: FilterUpdate, limit_pa: float | None) -> str:
    parts = [] if told.finding is None else [told.finding]
    if told.resistance is not None:
        parts.append(f"drop {told.resistance:.0f} Pa at the usual flow")
    if told.remaining_s is not None and told.low_s is not None and told.high_s is not None:
        parts.append(
            f"limit {limit_pa:.0f} Pa in {length_words(told.remaining_s)} of running"
            f" (80 %: {length_words(told.low_s)} to {length_words(told.high_s)})"
        )
    return "; ".join(parts)
