"""The faults a shop can have: what they are, where they sit, how big, since when, what course."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64

_Q = Quantity
_TEMPERATURES = frozenset({_Q.NOZZLE_TEMPERATURE, _Q.CONTROLLER_TEMPERATURE})
_FLOW = frozenset({_Q.AIR_FLOW})
_PRESSURES = frozenset({_Q.FILTER_PRESSURE_DROP, _Q.OUTLET_PRESSURE})
_ANY = frozenset(Quantity)


class Seat(StrEnum):
    """What a fault sits on."""

    STATION = "station"
    GUN = "gun"
    CHANNEL = "channel"


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One kind of fault. Its size has `dimension` and lies in low..high, None: it has no size.

    `group`: two faults of one group on the same place may not overlap. `quantities`: the channels
    that can have it. `gradual` says whether the course may be a ramp.
    """

    name: str
    seat: Seat
    says: str
    dimension: str | None = None
    low: float = 0.0
    high: float = 0.0
    group: str = ""
    quantities: frozenset[Quantity] = _ANY
    gradual: bool = True


_S, _G, _C = Seat.STATION, Seat.GUN, Seat.CHANNEL
KINDS = {
    kind.name: kind
    for kind in (
        FaultKind("filter_loading", _S, "dust arrives faster by this factor", "times", 1, 10_000),
        FaultKind("filter_blockage", _S, "added drop at 100 L/min", "pressure", 1, 8_000),
        FaultKind("filter_missing", _S, "the intake filter is out", group="filter", gradual=False),
        FaultKind("filter_torn", _S, "share of air past the medium", "percent", 1, 100, "filter"),
        FaultKind(
            "filter_tapped_out", _S, "share of dust knocked out", "percent", 1, 100, gradual=False
        ),
        FaultKind("blower_wear", _S, "loss of pressure at standstill", "percent", 1, 80),
        FaultKind("hose_leak", _S, "share of the set flow lost", "percent", 1, 400, "hose"),
        FaultKind("supply_sag", _S, "volts missing", "voltage", 1, 120),
        FaultKind("hose_off", _G, "the gun's hose is off", group="gun air", gradual=False),
        FaultKind("air_lost", _G, "share of the gun's air lost", "percent", 1, 100, "gun air"),
        FaultKind("nozzle_clogged", _G, "share of the bore closed", "percent", 1, 95),
        FaultKind(
            "air_stopped_before_cool", _G, "valve shut, heat off", group="gun air", gradual=False
        ),
        FaultKind("element_ageing", _G, "rise of cold resistance", "percent", 0.5, 200, "element"),
        FaultKind("element_break", _G, "no current through it", group="element", gradual=False),
        FaultKind(
            "thermocouple_offset", _C, "reads high by", "difference", -200, 200, "offset",
            _TEMPERATURES,
        ),
        FaultKind(
            "thermocouple_gain", _C, "reads high by", "percent", -50, 50, "gain", _TEMPERATURES
        ),
        FaultKind("tip_moved", _C, "out of the nozzle by", "length", -4, 20, "tip", _TEMPERATURES),
        FaultKind("open_circuit", _C, "wire broken", group="sensor", gradual=False),
        FaultKind(
            "intermittent", _C, "share of time open", "percent", 0.1, 90, "sensor", gradual=False
        ),
        FaultKind("stuck", _C, "stays at its last value", group="sensor", gradual=False),
        FaultKind(
            "swapped_leads", _C, "plus and minus changed", group="sensor",
            quantities=_TEMPERATURES, gradual=False,
        ),
        FaultKind(
            "wrong_type", _C, "a type J where the plant file says otherwise", group="sensor",
            quantities=_TEMPERATURES, gradual=False,
        ),
        FaultKind("flow_meter_drift", _C, "reads high by", "percent", -90, 200, "gain", _FLOW),
        FaultKind("flow_meter_zero", _C, "reads high by", "flow", -50, 50, "offset", _FLOW),
        FaultKind("pressure_zero", _C, "reads high by", "pressure", -5e3, 5e3,
            "offset", _PRESSURES),
        FaultKind(
            "tube_off", _C, "the tube to the tap is off", group="sensor", quantities=_PRESSURES,
            gradual=False,
        ),
        FaultKind("channel_silence", _C, "sends nothing", group="silence", gradual=False),
        FaultKind("silence", _S, "sends nothing", group="silence", gradual=False),
        FaultKind("link_outage", _S, "keeps and sends later", group="silence", gradual=False),
        FaultKind("clock_offset", _S, "clock ahead by", "time", -86_400, 86_400, "clock"),
        FaultKind("message_loss", _S, "share of packs lost", "percent", 0.1, 100, gradual=False),
        FaultKind("duplicate_device", _S, "a second node speaks as this one", gradual=False),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault on one place, [start_s, end_s) since the scenario's start, grown in `over_s`."""

    id: str
    kind: FaultKind
    station: str
    gun: str | None
    channel: str | None
    start_s: float
    end_s: float
    size: float = 1.0
    over_s: float = 0.0
    line: int = 0

    def touches(self, start_s: float, end_s: float) -> bool:
        """Tell whether it is there at any time of [start_s, end_s)."""
        return self.start_s < end_s and self.end_s > start_s

    def amount(self, t: Float64) -> Float64:
        """Give its size at times t [n] (s since the scenario's start), 0 where it is not there."""
        there = (t >= self.start_s) & (t < self.end_s)
        grown = np.clip((t - self.start_s) / self.over_s, 0.0, 1.0) if self.over_s > 1e-6 else 1.0
        return np.where(there, self.size * grown, 0.0)

    def active(self, t: Float64) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Tell at which of the times t [n] it is there."""
        active: np.ndarray[tuple[int], np.dtype[np.bool_]] = (t >= self.start_s) & (t < self.end_s)
        return active

    @property
    def seat(self) -> tuple[str, str | None, str | None]:
        """Give the place: station, gun, channel."""
        return (self.station, self.gun, self.channel)
