"""All slow checks of one gun in one place: steady states, drift, cold checks, element."""

from collections.abc import Mapping
from typing import Any

from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.diagnosis.ambient_check import AmbientCheck
from steadybead_domain.diagnosis.drift import DriftWatch
from steadybead_domain.diagnosis.element import ElementWatch
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.gun_columns import GunColumns
from steadybead_domain.diagnosis.gun_state import States
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.steady import SteadySpans
from steadybead_domain.diagnosis.windows import Gatherer
from steadybead_domain.plant import Station


class GunHealth:
    """One gun. `update` takes the blocks that the gun's state was judged on, in order."""

    def __init__(self, station: Station, gun: str) -> None:
        self.columns = GunColumns(station, gun)
        self.gatherer = Gatherer(self.columns.names)
        self.spans = SteadySpans()
        self.ambient = AmbientCheck()
        self.drift = DriftWatch(station, gun, self.columns.names)
        self.element = ElementWatch(
            station, gun, resistance="resistance" not in self.drift.features
        )
        self.able = "nozzle" in self.columns.names

    def note(self, check: ReferenceCheck) -> None:
        """Take a reference check of this gun; it also tells which nozzle is on from then."""
        if self.drift.note(check) and check.nozzle:
            self.spans.note(check.time, check.nozzle)

    def refit(self, time: int) -> None:
        """Take that another sensor, meter or element is on the gun from a time: learn anew."""
        self.drift.refits = sorted({*self.drift.refits, time})
        self.element.refits = sorted({*self.element.refits, time})

    def update(self, start: int, traces: Traces, states: States) -> list[Finding]:
        """Give the findings that the steps start, start+1, … allow."""
        if not self.able:
            return []
        found = self.element.update(start, traces, states)
        windows = self.gatherer.update(start, self.columns.of(traces, states))
        if not len(windows):
            return found
        ended = self.drift.reader.read(list(self.spans.update(windows)))
        found += self.drift.update(windows, ended, list(self.ambient.update(windows)))
        return sorted(found, key=lambda f: f.time)

    def dump(self) -> dict[str, Any]:
        """Give the memory as JSON."""
        return {
            "gatherer": self.gatherer.dump(),
            "spans": self.spans.dump(),
            "ambient": self.ambient.dump(),
            "drift": self.drift.dump(),
            "element": self.element.dump(),
        }

    def load(self, data: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        same = tuple(data["gatherer"]["names"]) == self.gatherer.names
        self.gatherer.load(data["gatherer"])
        self.spans.load(data["spans"] if same else {**data["spans"], "rows": [], "held": 0})
        self.ambient.load(data["ambient"])
        self.drift.load(data["drift"])
        self.element.load(data["element"])
