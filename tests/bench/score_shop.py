"""The spans that are scored: stations at three levels of instrumentation, their faults, their days.

Every span is one simulated station. Seeds begin at 1000: nothing was tuned on them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simulated_shop import MONDAY
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.ids import ChannelId
from steadybead_domain.plant import AirSource, Channel, FlowMeter, Plant, Station
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_simulator.campaign import random_faults
from steadybead_simulator.faults import KINDS, Fault
from steadybead_simulator.plants import plant_of
from steadybead_simulator.randomness import stream
from steadybead_simulator.scenario import Calendar, Dust, Mains, Scenario, Setup, Welder

FIRST_SEED = 1000
LEVELS = ("full", "usual", "least")
NO_CHECKS = "full, no checks"
DAY_S, H_S = 86_400.0, 3600.0
LEARNING_DAYS = 14  # without a fault, before slow ones begin
LIMIT_PA = {1: 140.0, 2: 250.0}  # by the guns in use: one at 52 L/min takes half the air
SLOW_DAYS = 28
HALF_SHIFT = Calendar(end_s=12.25 * H_S, breaks=((9.25 * H_S, 9.5 * H_S),))
PROCEDURE = Procedure(
    "pp-speed-nozzle",
    "PP, speed nozzle",
    "PP",
    "641",
    Window(300.0, 350.0, "Cel"),
    Window(40.0, 62.0, "L/min"),
    FlowReference.ACTUAL,
    "made up for the score",
    "1",
)
FAST = (
    "hose_off", "air_lost", "air_stopped_before_cool", "nozzle_clogged", "hose_leak",
    "supply_sag", "open_circuit", "intermittent", "stuck", "swapped_leads", "wrong_type",
    "element_break", "channel_silence", "silence",
)  # fmt: skip
SLOW = (
    "filter_loading", "filter_blockage", "filter_missing", "filter_torn", "filter_tapped_out",
    "blower_wear", "element_ageing", "thermocouple_offset", "thermocouple_gain", "tip_moved",
    "flow_meter_drift", "flow_meter_zero", "pressure_zero", "tube_off",
)  # fmt: skip
# Not the diagnosis of a station but the collector tells these: link_outage, clock_offset,
# message_loss, duplicate_device.
_PROBE, _METER = "gun-a/probe", "gun-a/held"


@dataclass(frozen=True, slots=True)
class Span:
    """One station over some days. `kind`: clean, fast, slow, drift or filter.

    `faults` may be empty. `until_limit`: it ends when the filter's limit is well passed.
    """

    kind: str
    level: str
    seed: int
    days: int
    scenario: Scenario
    plant: Plant
    station: Station
    until_limit: bool = False

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Give the faults by onset."""
        return self.scenario.faults

    @property
    def has_checks(self) -> bool:
        """Tell whether somebody holds needle probe and flow meter to the gun."""
        return self.level == "full"

    @property
    def months(self) -> float:
        """Give its length in station-months of four weeks."""
        return self.days / 28.0


def procedures() -> dict[str, Procedure]:
    """Give the procedures that the shop welds by."""
    return {PROCEDURE.id: PROCEDURE}


def bay(level: str, seed: int, guns: int = 1) -> tuple[Plant, Station]:
    """Give the simulated plant and the station as the plant file has it.

    The simulated one carries needle probe and hand-held flow meter besides, for the checks.
    """
    plant = plant_of(1, level="full" if level == NO_CHECKS else level)
    station = replace(plant.stations[0], air=AirSource(intake_filter_limit_pa=LIMIT_PA[guns]))
    if level == "usual":
        wanted = {Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW, Quantity.FILTER_PRESSURE_DROP}
        kept = tuple(c for c in station.channels if c.quantity in wanted)
        station = replace(station, channels=kept)
    if level in ("full", NO_CHECKS):
        regulated = bool(stream(seed, "score", "control").random() < 0.5)
        station = replace(station, channels=tuple(_controlled(station.channels, regulated)))
    shown = station
    if level == "full":
        shown = replace(station, channels=(*station.channels, *_held(station)))
    return replace(plant, stations=(shown,)), station


def _controlled(channels: Sequence[Channel], regulated: bool) -> Iterator[Channel]:
    for channel in channels:
        is_nozzle = channel.quantity is Quantity.NOZZLE_TEMPERATURE
        yield replace(channel, regulated=regulated) if is_nozzle else channel


def _held(station: Station) -> Iterator[Channel]:
    site, name = station.id.site, station.id.station
    yield Channel(ChannelId(site, name, _PROBE), Quantity.NOZZLE_TEMPERATURE, "Cel")
    yield Channel(ChannelId(site, name, _METER), Quantity.AIR_FLOW, "L/min", flow=FlowMeter())


def spans(rounds: int, seed: int, *, short: bool) -> Iterator[Span]:
    """Give all spans; a round holds every kind at every level."""
    for number in range(rounds):
        first = seed + 100 * number
        yield from _short_round(first) if short else _round(first)


def _round(seed: int) -> Iterator[Span]:
    for i, level in enumerate(LEVELS):
        yield clean(level, seed + i, 28)
        yield slow(level, seed + 10 + i)
        yield fast(level, seed + 20 + i, 14)
    for i in range(2):
        yield drift("full", seed + 30 + i, 3.0)
        yield drift(NO_CHECKS, seed + 40 + i, 10.0)
    for i, level in enumerate(("usual", "usual", "full")):
        yield filter_life(level, seed + 50 + i)


def _short_round(seed: int) -> Iterator[Span]:
    """Give 38 spans of a few short shifts."""
    for i in range(9):
        yield clean(LEVELS[i % 3], seed + i, 3)
    for i in range(21):
        yield fast(LEVELS[i % 3], seed + 20 + i, 2, squeezed=True)
    for i in range(2):
        yield drift("full" if i % 2 else NO_CHECKS, seed + 50 + i, 10.0, days=14)
    for i in range(6):
        yield filter_life("usual", seed + 60 + i, hurry=8.0)


def clean(level: str, seed: int, days: int) -> Span:
    """Make a span without any fault."""
    return _span("clean", level, seed, days, ())


def fast(level: str, seed: int, days: int, *, squeezed: bool = False) -> Span:
    """Make a span with faults that show at once; `squeezed`: one of them, on the second day."""
    plant, _ = bay(level, seed)
    faults = random_faults(_bare(plant), seed, 8 if squeezed else days, FAST)
    if squeezed:
        faults = tuple(_moved(f, (1 - int(f.start_s // DAY_S)) * DAY_S) for f in faults[:1])
    else:
        faults = tuple(_moved(f, 0.0) for f in faults)
    return _span("fast", level, seed, days, faults)


def slow(level: str, seed: int) -> Span:
    """Make a span with two weeks to learn and four weeks with faults that show over shifts."""
    plant, _ = bay(level, seed)
    kinds = tuple(k for k in SLOW if not (k == "tip_moved" and level == "full"))
    faults = random_faults(_bare(plant), seed, SLOW_DAYS, kinds)
    late = tuple(_moved(f, LEARNING_DAYS * DAY_S) for f in faults)
    return _span("slow", level, seed, LEARNING_DAYS + SLOW_DAYS, late)


def drift(level: str, seed: int, size_k: float, days: int = 22) -> Span:
    """Make a span in which gun a's thermocouple is off by a given size from one shift on."""
    rng = stream(seed, "score", "drift")
    free = max(days - 8, days // 2)
    day = free + {5: 2, 6: 1}.get(free % 7, 0)
    start = day * DAY_S + float(rng.uniform(7.0, 8.0)) * H_S
    size = size_k if rng.random() < 0.5 else -size_k
    kind = KINDS["thermocouple_offset"]
    fault = Fault(f"drift-{seed}", kind, "bay-1", None, "gun-a/nozzle", start, 1e9, size)
    return _span("drift", level, seed, days, (fault,))


def filter_life(level: str, seed: int, hurry: float = 1.0) -> Span:
    """Make a span that follows a filter to its limit, one gun, whole shifts; random dust."""
    rng = stream(seed, "score", "filter")
    dust = Dust(
        ("cake", "depth", "mixed")[int(rng.integers(3))],
        hurry * float(rng.uniform(1.5, 4.0)),
        float(rng.uniform(0.0, 8.0)),
    )
    plant, station = bay(level, seed)
    setup = Setup("*", filter_drop_pa=float(rng.uniform(55.0, 80.0)), guns_in_use=1)
    scenario = Scenario(
        sample_s=5.0, pack_s=5.0, calendar=Calendar(), dust=dust, setups=(setup,),
        welders=(Welder("w-1", changes_filter_at_pa=450.0),),
    )  # fmt: skip
    days = 60 if hurry == 1.0 else 15
    return Span("filter", level, seed, days, scenario, plant, station, until_limit=True)


def _span(kind: str, level: str, seed: int, days: int, faults: Sequence[Fault]) -> Span:
    rng = stream(seed, "score", "shop")
    guns = 2 if level.startswith("full") and rng.random() < 0.5 else 1
    plant, station = bay(level, seed, guns)
    scenario = Scenario(
        calendar=HALF_SHIFT,
        mains=Mains(unrest=float(rng.uniform(0.5, 1.5))),
        dust=Dust(level_mg_m3=float(rng.uniform(0.3, 1.2))),
        setups=(Setup("*", guns_in_use=guns),),
        faults=tuple(faults),
    )
    return Span(kind, level, seed, days, scenario, plant, station)


def _bare(plant: Plant) -> Plant:
    """Leave out what the simulated station only carries for the checks: it has no faults."""
    station = plant.stations[0]
    kept = tuple(c for c in station.channels if c.id.channel not in (_PROBE, _METER))
    return replace(plant, stations=(replace(station, channels=kept),))


def _moved(fault: Fault, by_s: float) -> Fault:
    """Move a fault by whole days, and its time of day into the half shift."""
    start = fault.start_s + by_s
    hour = start % DAY_S / H_S
    start += (8.5 + (hour - 8.5) * 2.5 / 5.5 - hour) * H_S
    return replace(fault, start_s=start, end_s=start + fault.end_s - fault.start_s)


def us(seconds: float) -> int:
    """Turn seconds since the span's start into µs since 1970."""
    return MONDAY + round(min(seconds, 1e9) * 1e6)


def checked_error(seed: int, number: int) -> tuple[float, float]:
    """Give the error of one check: of the probe in K, of the flow meter as a share."""
    rng = np.random.default_rng([seed, number])
    return float(rng.normal(0.0, 0.7)), float(rng.normal(0.0, 0.012))
