"""Welding procedure specifications: the windows that a weld is held to."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from steadybead_domain.conversion.specs import FlowReference


@dataclass(frozen=True, slots=True)
class Window:
    """A closed range in `unit`; None leaves a side open."""

    low: float | None
    high: float | None
    unit: str

    def holds(self, value: float) -> bool:
        """Tell whether the value lies inside."""
        above = self.low is None or value >= self.low
        return above and (self.high is None or value <= self.high)


@dataclass(frozen=True, slots=True)
class Procedure:
    """One revision of a welding procedure specification, short *procedure*.

    `process` is the ISO process number: 641 hot gas speed welding, 642 hot gas round-nozzle
    welding. `flow_reference` is the gas state of the flow window. `provenance` tells, field by
    field, whether a value was found in the source or comes from memory. `warm_up_s` is how long
    the gun heats before the first bead, `tacking` how the parts are tacked, `reason` why this
    revision was made. What it contains follows CEN/TS 16892 (its content from memory).
    """

    id: str
    title: str
    material: str
    process: str
    nozzle_temperature: Window
    air_flow: Window
    flow_reference: FlowReference
    source: str
    edition: str
    revision: int = 1
    travel_speed: Window | None = None
    rod_force: Window | None = None
    rod: str = ""
    warm_up_s: float = 600.0
    provenance: Mapping[str, str] = field(default_factory=dict)
    tacking: str = ""
    nozzle: str = ""
    preparation: str = ""
    note: str = ""
    reason: str = ""
