"""Short simulated histories for tests: a small plant, a plain scenario, the columns joined."""

from collections.abc import Iterable

from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import Plant
from steadybead_domain.readings import Columns
from steadybead_domain.times import SECOND, parse_rfc3339
from steadybead_domain.welds import WeldEvent
from steadybead_simulator.faults import KINDS, Fault, Seat
from steadybead_simulator.history import Wire, history
from steadybead_simulator.plants import plant_of
from steadybead_simulator.scenario import Calendar, Dust, Mains, Scenario, Setup, Welder
from steadybead_simulator.truth import Truth

MONDAY = parse_rfc3339("2026-03-02T00:00:00Z")
STEADY = Welder(
    "w-1", warm_up_s=100.0, forgets_start=0.0, forgets_stop=0.0, stops_late=0.0,
    forgets_heat=0.0, stops_air_early=0.0, opens_valve=1.0,
)  # fmt: skip
# One long cycle: hot from two minutes on, welding until nearly its end.
LOOP = Scenario(
    calendar=Calendar("loop", cycle_s=3600.0),
    welders=(STEADY,),
    setups=(Setup("*", set_c=320.0),),
    mains=Mains(unrest=0.3),
    dust=Dust(sawing_per_day=0.0),
)
FULL = plant_of(1, level="full")
STATION = "bay-1"


class Shop:
    """A history joined: `columns` by channel id of the first station, truth and weld events."""

    def __init__(
        self, scenario: Scenario = LOOP, seconds: float = 1800.0, *,
        plant: Plant = FULL, seed: int = 5, start: int = MONDAY,
    ) -> None:  # fmt: skip
        parts = dict[ChannelId, list[Columns]]()
        self.truth = list[Truth]()
        self.events = list[WeldEvent]()
        self.wire: list[Wire] = []
        self.received: list[int] = []
        for block in history(plant, scenario, seed, start, start + round(seconds * SECOND)):
            for channel, columns in block.columns.items():
                parts.setdefault(channel, []).append(columns)
            self.truth += block.truth
            self.events += block.weld_events
            self.wire += block.wire
            self.received.append(block.received)
        joined = {c: Columns.concat(p) for c, p in parts.items()}
        self.all = joined
        self.start = start
        self.columns = {
            c.channel: v for c, v in joined.items() if c.station == plant.stations[0].id.station
        }

    def between(self, channel: str, start_s: float, end_s: float) -> Columns:
        """Give a channel's readings in a stretch of the run."""
        columns = self.columns[channel]
        seconds = (columns.time - self.start) / SECOND
        return columns.take((seconds >= start_s) & (seconds < end_s))

    def mean(self, channel: str, start_s: float, end_s: float) -> float:
        """Give a channel's mean value in a stretch of the run."""
        return float(self.between(channel, start_s, end_s).value.mean())


def fault(
    kind: str, start_s: float, end_s: float, *,
    size: float = 1.0, over_s: float = 0.0, place: str | None = None,
) -> Fault:  # fmt: skip
    """Make a fault on the first station; `place` is a gun or a channel."""
    seat = KINDS[kind].seat
    gun = place if seat is Seat.GUN else None
    channel = place if seat is Seat.CHANNEL else None
    return Fault(f"t-{kind}", KINDS[kind], STATION, gun, channel, start_s, end_s, size, over_s)


def with_faults(faults: Iterable[Fault], scenario: Scenario = LOOP) -> Scenario:
    """Put faults into a scenario."""
    members = {name: getattr(scenario, name) for name in Scenario.__dataclass_fields__}
    return Scenario(**{**members, "faults": tuple(faults)})


ALL_KINDS = """\
[site]
id = "south"
timezone = "Europe/Madrid"
[[station]]
id = "cell-1"
[station.compressed_air]
[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "mV"
conversion = { kind = "thermocouple", type = "N", cold_junction = 25.0 }
regulated = false
[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "count"
conversion = { kind = "pulse", litres_per_pulse = 0.1, rolls_over_at = 65536 }
principle = "actual_volume"
position = "before the hose"
silence_s = 5
[[station.channel]]
id = "gun-b/nozzle"
quantity = "nozzle_temperature"
unit = "V"
conversion = { kind = "voltage_loop", at_low = 0, at_high = 500, to = "Cel" }
[[station.channel]]
id = "gun-b/flow"
quantity = "air_flow"
unit = "Pa"
conversion = { kind = "square_root", at_full = 100, full_drop_pa = 900, to = "L/min" }
principle = "pressure_drop"
[[station.channel]]
id = "gun-c/nozzle"
quantity = "nozzle_temperature"
unit = "K"
[[station.channel]]
id = "gun-c/flow"
quantity = "air_flow"
unit = "mA"
conversion = { kind = "current_loop", at_4_ma = 0, at_20_ma = 6, to = "m3/h" }
reference = "DIN 1343"
principle = "thermal_mass"
[[station.channel]]
id = "gun-c/output"
quantity = "heater_output"
unit = "mV"
conversion = { kind = "linear", factor = 0.1, to = "%" }
source = { topic = "shop/x", pointer = "/a/0" }
"""
