"""What happens in the simulated shop: calendar, weather, mains, dust, people, stations, faults."""

from dataclasses import dataclass, field
from fnmatch import fnmatchcase

from steadybead_simulator.faults import Fault


@dataclass(frozen=True, slots=True)
class Calendar:
    """When the shop works. `shift`: local working days; `loop`: a short cycle, again and again.

    Days count from Monday = 0; times are seconds of the local day.
    """

    kind: str = "shift"
    days: tuple[int, ...] = (0, 1, 2, 3, 4)
    start_s: float = 7 * 3600.0
    end_s: float = 15.75 * 3600.0
    breaks: tuple[tuple[float, float], ...] = ((33_300.0, 34_200.0), (43_200.0, 45_000.0))
    cycle_s: float = 600.0


@dataclass(frozen=True, slots=True)
class Weather:
    """Outdoor climate and the heated hall (assumptions: a mild European site)."""

    mean_c: float = 13.0
    season_k: float = 8.0
    day_k: float = 4.5
    altitude_m: float = 120.0
    hall_low_c: float = 17.0


@dataclass(frozen=True, slots=True)
class Mains:
    """The supply: nominal voltage and how restless it is (1: common, 0: perfectly still)."""

    voltage_v: float = 230.0
    unrest: float = 1.0


@dataclass(frozen=True, slots=True)
class Dust:
    """Dust at the intakes: `cake`, `depth` or `mixed` loading, the mean level, sawing bursts."""

    kind: str = "mixed"
    level_mg_m3: float = 0.8
    sawing_per_day: float = 5.0


@dataclass(frozen=True, slots=True)
class Welder:
    """The habits of one welder; shares are chances from 0 to 1 (assumptions, all of them)."""

    name: str
    pace: float = 1.0
    warm_up_s: float = 660.0
    flow_l_min: float = 55.5  # about 50 NL/min where the gun takes its air in, the middle of 45-55
    forgets_start: float = 0.05
    forgets_stop: float = 0.08
    stops_late: float = 0.15
    forgets_heat: float = 0.03
    stops_air_early: float = 0.03
    opens_valve: float = 0.5
    changes_filter_at_pa: float = 320.0
    records_change: float = 0.7


@dataclass(frozen=True, slots=True)
class Setup:
    """How the stations whose id matches the pattern `id` are set up.

    `control`: the gun regulates on the logged sensor, on its `own`, or not at all (`open`).
    """

    id: str = "*"
    set_c: float = 325.0
    phase_s: float = 0.0
    control: str | None = None
    welders: tuple[str, ...] = ()
    filter_drop_pa: float = 60.0
    new_thermocouple: bool = False
    guns_in_use: int | None = None
    outages_per_day: float = 0.05

    def matches(self, station: str) -> bool:
        """Tell whether it is for this station."""
        return fnmatchcase(station, self.id)


@dataclass(frozen=True, slots=True)
class Scenario:
    """A whole scenario; `start_us` None: it starts when the run starts."""

    title: str = ""
    start_us: int | None = None
    duration_s: float | None = None
    sample_s: float = 1.0
    pack_s: float = 1.0
    calendar: Calendar = field(default_factory=Calendar)
    weather: Weather = field(default_factory=Weather)
    mains: Mains = field(default_factory=Mains)
    dust: Dust = field(default_factory=Dust)
    welders: tuple[Welder, ...] = (Welder("w-1"),)
    setups: tuple[Setup, ...] = ()
    faults: tuple[Fault, ...] = ()

    def setup(self, station: str) -> Setup:
        """Give the last setup that matches the station, or the default one."""
        return next((s for s in reversed(self.setups) if s.matches(station)), Setup(station))

    def faults_of(self, station: str) -> tuple[Fault, ...]:
        """Give the station's faults by onset."""
        return tuple(f for f in self.faults if f.station == station)
