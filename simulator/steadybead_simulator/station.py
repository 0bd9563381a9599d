"""One station, block by block: people, air, heat and instruments put together."""

import math
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from steadybead_domain.plant import Channel, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64
from steadybead_simulator import air
from steadybead_simulator.day import Act, Day, Tell, TrueWeld
from steadybead_simulator.gas import KELVIN as K0
from steadybead_simulator.gas import R_DRY, saturation_pa
from steadybead_simulator.gun import GunSim
from steadybead_simulator.harm import Harm
from steadybead_simulator.instruments import Disturbed, Instrument, Surroundings
from steadybead_simulator.moment import Moment
from steadybead_simulator.planner import Planner
from steadybead_simulator.randomness import lowpass, stream
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.spans import Mask
from steadybead_simulator.weather import BLOCK_S, Hall, HallBlock

_Q = Quantity
SAWING_MG_M3 = 25.0  # near a saw (assumption)
BLOWER_WEAR_PER_H = 8e-6  # share of the head lost an hour: 3 % in two years (assumption)
LINE_OHM = 0.25  # of the cable to the bay (assumption)
NOMINAL_CONDUCTANCE = 2.15e-5  # two guns at 50 NL/min each and 7.5 kPa, kg/(s Pa^0.5)


@dataclass(slots=True)
class StationBlock:
    """What a station's instruments show in one block, before the edge node.

    `t` float64 [n] s since the scenario's start; `raw`: by channel, float64 [n] on the wire.
    """

    index: int
    t: Float64
    harm: Harm
    powered: Mask
    raw: dict[Channel, Float64]
    outage: Mask
    outages: list[tuple[float, float]] = field(default_factory=list)
    tells: list[Tell] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)
    welds: list[TrueWeld] = field(default_factory=list)
    filter_pa: float = 0.0
    burnt: list[tuple[str, float]] = field(default_factory=list)


class StationSim:
    """Steps one station through blocks of five minutes; blocks must be asked for in order."""

    def __init__(
        self,
        scenario: Scenario,
        station: Station,
        hall: Hall,
        *,
        zone: str,
        seed: int,
        start_us: int,
    ) -> None:
        self.station, self._scenario, self._hall, self._seed = station, scenario, hall, seed
        self._key = str(station.id)
        self._faults = scenario.faults_of(station.id.station)
        self._planner = Planner(scenario, station, zone, seed, start_us)
        self._setup = self._planner.setup
        rng = stream(seed, "build", self._key)
        self._blower = air.Blower(head_pa=12_500.0 * float(rng.normal(1.0, 0.03)))
        kind = scenario.dust.kind
        self._filter = air.Filter(60.0 * float(rng.normal(1.0, 0.08)), kind=kind)
        self._dust_g = self._filter.dust_g(self._setup.filter_drop_pa)
        self._phase_s = float(rng.uniform(0.0, scenario.sample_s))
        self._line = float(rng.normal(1.0, 0.006))
        self._guns = {g: GunSim(station, g, self._setup, rng) for g in station.guns}
        self._instruments = [
            Instrument(c, stream(seed, "instrument", str(c.id)), scenario.sample_s)
            for c in station.channels
        ]
        self._speed = self._rise_k = 0.0
        self._hours = float(rng.uniform(0.0, 4000.0))
        self._volume_m3_s = 1.6e-3
        self._amps = 0.0
        self._days: list[Day] = []
        self._next_day = -1

    @property
    def filter_drop_pa(self) -> float:
        """Give the filter's drop at 100 L/min and 20 °C as it is now."""
        return float(self._filter.drop_pa(np.array([self._dust_g]))[0])

    def block(self, index: int) -> StationBlock | None:
        """Give block `index`; None while the station sleeps (node without power, all cold)."""
        dt = self._scenario.sample_s
        n = round(BLOCK_S / dt)
        t: Float64 = index * BLOCK_S + self._phase_s + dt * np.arange(n, dtype=np.float64)
        self._plan_until(float(t[-1]))
        powered = self._mask("node", t)
        running = self._mask("blower", t)
        if not powered.any() and not running.any():
            self._sleep(index, t)
            return None
        bounds = (index * BLOCK_S, (index + 1) * BLOCK_S)
        harm = Harm(self._faults, t, bounds, partial(self._chance, index))
        rng = stream(self._seed, "block", self._key, index + 10_000)
        hall = self._hall.block(index, t)
        volts = hall.volts * self._line - LINE_OHM * self._amps - harm.amount("supply_sag")
        now = Moment(t, dt, bounds, hall, harm, rng)
        self._fill_filter(now, running)
        solved, meter_density, rise = self._air(now, running, volts)
        true = self._surroundings(hall, solved, volts, running)
        whole = [g.name for g in self._guns.values() if not g.state.broken]
        for i, gun in enumerate(self._guns.values()):
            values = gun.blow(now, volts, solved.gun_kg_s[i], rise)
            true.update({(q, gun.name): v for q, v in values.items()})
        self._amps = sum(float(np.mean(true[_Q.HEATER_CURRENT, gun])) for gun in self._guns)
        raw = self._measure(now, true, meter_density)
        block = self._collect(index, now, powered, raw)
        block.burnt = [(g, float(t[-1])) for g in whole if self._guns[g].state.broken]
        return block

    def _chance(self, index: int, channel: str) -> np.random.Generator:
        return stream(self._seed, "contact", self._key, channel, index + 10_000)

    def _collect(
        self,
        index: int,
        now: Moment,
        powered: Mask,
        raw: dict[Channel, Float64],
    ) -> StationBlock:
        outage = self._mask("outages", now.t)
        block = StationBlock(index, now.t, now.harm, powered, raw, outage)
        block.outages = [p for d in self._days for p in d.outages.pairs]
        start, end = index * BLOCK_S, (index + 1) * BLOCK_S
        for day in self._days:
            block.tells += day.tells_in(start, end)
            block.acts += [a for a in day.acts if start <= a.start_s < end]
            block.welds += [w for w in day.welds if start <= w.start_s < end]
        block.filter_pa = self.filter_drop_pa
        return block

    def _plan_until(self, end_s: float) -> None:
        while True:
            start, _ = self._planner.bounds(self._next_day)
            if start > end_s:
                return
            day = self._planner.plan(self._next_day, self.filter_drop_pa)
            self._repair(day)
            self._days = [d for d in self._days if d.end_s > end_s - 2 * BLOCK_S] + [day]
            self._next_day += 1

    def _repair(self, day: Day) -> None:
        """Put in a new element where the old one burnt out the day before."""
        for gun in self._guns.values():
            if gun.state.broken:
                gun.state.broken = False
                day.acts.append(Act("element_replaced", gun.name, day.start_s, recorded=True))

    def _mask(self, what: str, t: Float64) -> Mask:
        mask: Mask = np.zeros(len(t), np.bool_)
        for day in self._days:
            mask |= getattr(day, what).at(t)
        return mask

    def _sleep(self, index: int, t: Float64) -> None:
        room = self._hall.last_t_c(index, t)
        for gun in self._guns.values():
            gun.rest(room, BLOCK_S)
        self._speed = 0.0
        self._rise_k *= math.exp(-BLOCK_S / 600.0)

    def _fill_filter(self, now: Moment, running: Mask) -> None:
        """Let dust arrive with the air, faster near a saw; taps and changes take it away."""
        t, harm, rng = now.t, now.harm, now.rng
        level = np.full(len(t), self._scenario.dust.level_mg_m3)
        level += SAWING_MG_M3 * float(rng.lognormal(0.0, 0.4)) * self._mask("sawing", t)
        level *= np.maximum(harm.amount("filter_loading"), 1.0)
        level[harm.active("filter_missing")] = 0.0
        grams = level * (1e-3 * self._volume_m3_s * self._scenario.sample_s) * running
        dust = self._dust_g + np.cumsum(grams)
        for at_s, share in self._taps(now):
            first = min(int(np.searchsorted(t, at_s)), len(t) - 1)
            dust[first:] -= share * dust[first]
        self._dust_g = float(dust[-1])
        drop = self._filter.drop_pa(dust) + harm.amount("filter_blockage")
        drop = drop * (1.0 - harm.amount("filter_torn") / 100.0)
        self._filter_pa = np.where(harm.active("filter_missing"), 0.0, drop)

    def _taps(self, now: Moment) -> list[tuple[float, float]]:
        taps = [p for d in self._days for p in d.tapped if now.holds(p[0])]
        taps += [(f.start_s, f.size / 100.0) for f in now.harm.starting("filter_tapped_out")]
        return sorted(taps)

    def _air(self, now: Moment, running: Mask, volts: Float64) -> tuple[air.Air, Float64, Float64]:
        """Solve the air; give it with the density at the meters and the rise at the guns."""
        dt, hall, harm = now.dt_s, now.hall, now.harm
        nominal = self._scenario.mains.voltage_v
        full = 1.0 - self._blower.slip * (nominal / np.maximum(volts, 60.0)) ** 2
        wished = np.where(running, full, 0.0)
        speed = lowpass(wished, math.exp(-dt / self._blower.run_up_s), self._speed)
        self._speed = float(speed[-1])
        self._hours += float(running.sum()) * dt / 3600.0
        worn = BLOWER_WEAR_PER_H * self._hours
        head = 1.0 - worn - harm.amount("blower_wear") / 100.0
        leak = NOMINAL_CONDUCTANCE * harm.amount("hose_leak") / 100.0
        ways = [g.way(now, self._days, self._outlet_for) for g in self._guns.values()]
        leak = leak + sum(w.leak for w in ways)
        inputs = air.AirInputs(
            hall.t_c, hall.pressure_pa, hall.vapour_pa, speed, head, self._filter_pa,
            [w.valve for w in ways], [w.nozzle for w in ways], [w.gas_c for w in ways], leak,
        )  # fmt: skip
        solved = air.solve(self._blower, inputs)
        rise = lowpass(solved.outlet_rise_k * running, math.exp(-dt / 480.0), self._rise_k)
        self._rise_k = float(rise[-1])
        if running.any():
            self._volume_m3_s = float(np.mean((solved.total_kg_s / solved.intake_density)[running]))
        warm = hall.t_c + 0.8 * rise
        meter = (hall.pressure_pa + solved.outlet_pa) / (R_DRY * (warm + K0))
        return solved, meter, rise

    def _outlet_for(self, total_kg_s: float) -> float:
        """Give the pressure after the blower, as a welder finds it when he sets a valve."""
        q = total_kg_s / air.REFERENCE_DENSITY
        full = 1.0 - self._blower.slip
        x = q / self._blower.most_m3_s
        lift = self._blower.head_pa * (
            full**2 - self._blower.bend * full * x - (1 - self._blower.bend) * x * x
        )
        return max(lift - self.filter_drop_pa * q / air.REFERENCE_FLOW_M3_S, 500.0)

    def _surroundings(
        self, hall: HallBlock, solved: air.Air, volts: Float64, running: Mask
    ) -> dict[tuple[Quantity, str | None], Float64]:
        amps = (solved.shaft_w / 0.62 / np.maximum(volts, 60.0)) * running
        humidity = 100.0 * hall.vapour_pa / saturation_pa(hall.t_c)
        return {
            (_Q.FILTER_PRESSURE_DROP, None): solved.filter_drop_pa,
            (_Q.OUTLET_PRESSURE, None): solved.outlet_pa,
            (_Q.INTAKE_TEMPERATURE, None): hall.t_c,
            (_Q.INTAKE_HUMIDITY, None): humidity,
            (_Q.AMBIENT_PRESSURE, None): hall.pressure_pa,
            (_Q.SUPPLY_VOLTAGE, None): volts,
            (_Q.MOTOR_CURRENT, None): amps,
        }

    def _measure(
        self,
        now: Moment,
        true: dict[tuple[Quantity, str | None], Float64],
        meter_density: Float64,
    ) -> dict[Channel, Float64]:
        t, hall, harm, rng = now.t, now.hall, now.harm, now.rng
        moisture = 622.0 * hall.vapour_pa / (hall.pressure_pa - hall.vapour_pa)
        raw = {}
        for instrument in self._instruments:
            channel = instrument.channel
            cold = true.get((_Q.TERMINAL_TEMPERATURE, channel.gun), hall.t_c)
            around = Surroundings(meter_density, moisture, cold)
            worse: Disturbed | None = harm.of_channel(channel.id.channel)
            values = true[channel.quantity, channel.gun]
            raw[channel] = instrument.read(t, values, around, worse, rng)
        return raw
