"""A made-up gun for the drift tests: physics and constants of its own, shift by shift.

Heat in the air by a table of cp (NBS Circular 564 as reprinted, kJ/kg K), loss to the room, a
controller that holds the set value, and instruments that can be made to read wrong. It shares no
constant with the product.
"""

from dataclasses import dataclass, field

import numpy as np

from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.conversion.specs import FlowReference, Thermocouple
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.grid import STEP, Trace
from steadybead_domain.diagnosis.gun_health import GunHealth
from steadybead_domain.diagnosis.gun_state import COOLING, HOT, OFF, WARMING
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, FlowMeter, Station
from steadybead_domain.quantities import Quantity

Q = Quantity
CP_K = np.array([250, 300, 350, 400, 450, 500, 550, 600, 650, 700], float)
CP = np.array([1.003, 1.005, 1.008, 1.013, 1.020, 1.029, 1.040, 1.051, 1.063, 1.075])
START = 1_767_250_800_000_000 // STEP  # steps: a Thursday in 2026
DAY = 86_400 * 2
CHANNELS = {
    "gun-a/nozzle": Q.NOZZLE_TEMPERATURE,
    "gun-a/flow": Q.AIR_FLOW,
    "gun-a/set": Q.SET_TEMPERATURE,
    "gun-a/terminal": Q.TERMINAL_TEMPERATURE,
    "gun-a/inlet": Q.GUN_INLET_TEMPERATURE,
    "gun-a/power": Q.HEATER_POWER,
    "gun-a/output": Q.HEATER_OUTPUT,
    "air/intake": Q.INTAKE_TEMPERATURE,
    "air/supply": Q.SUPPLY_VOLTAGE,
    "air/motor": Q.MOTOR_CURRENT,
}
FULL = tuple(CHANNELS)
NO_POWER = ("gun-a/nozzle", "gun-a/flow", "gun-a/set", "air/intake")


def make_station(
    names: tuple[str, ...] = FULL, *, regulated: bool | None = True, couple: str = "N"
) -> Station:
    channels = []
    for name in names:
        quantity = CHANNELS[name]
        channels.append(
            Channel(
                ChannelId("made", "up", name),
                quantity,
                quantity.facts.unit,
                Thermocouple(couple, 25.0) if quantity is Q.NOZZLE_TEMPERATURE else None,
                regulated=regulated if quantity is Q.NOZZLE_TEMPERATURE else None,
                flow=FlowMeter(reference=FlowReference.DIN_1343)
                if quantity is Q.AIR_FLOW
                else None,
            )
        )
    return Station(StationId("made", "up"), tuple(channels))


@dataclass(frozen=True)
class Wrong:
    """What is wrong from a shift on: °C, per cent, volts; as the instruments or the gun have it."""

    nozzle_c: float = 0.0
    nozzle_offset_c: float = 0.0
    flow_pct: float = 0.0
    flow_zero: float = 0.0
    flow_lost_pct: float = 0.0
    resistance_pct: float = 0.0
    supply_pct: float = 0.0
    own_sensor_c: float = 0.0


@dataclass
class Shop:
    """Makes one gun's columns a shift at a time: half an hour cold, then hot for `hours`."""

    seed: int
    regulated: bool = True
    hours: float = 2.0
    set_c: float = 331.0
    cold_ohm: float = 81.0
    loss_w_k: float = 0.21
    rng: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)

    def shift(self, day: int, wrong: Wrong) -> tuple[int, dict[str, np.ndarray], np.ndarray]:
        rng = self.rng
        cold, warm = 3600, 240
        hot, cool = int(self.hours * 7200), 600
        n = cold + warm + hot + cool
        states = np.full(n, OFF, np.int8)
        states[cold : cold + warm] = WARMING
        states[cold + warm : cold + warm + hot] = HOT
        states[cold + warm + hot :] = COOLING
        air = (states != OFF).astype(float)
        room = 21.0 + rng.normal(0, 2.0) + 2.0 * np.linspace(0, 1, n)
        inlet = room + 14.0 * air
        truth = self._temperature(states, wrong, room)
        set_flow = 48.0 * (1 + rng.normal(0, 0.012)) * (1 - wrong.flow_lost_pct / 100)
        flow = air * set_flow * (1 + 0.004 * rng.normal(size=n))
        supply = 228.0 * (1 - wrong.supply_pct / 100) + rng.normal(0, 0.8) + rng.normal(0, 0.5, n)
        kelvin = np.linspace(0, 1, 41)[:, None] * (truth - inlet) + inlet + 273.15
        cp = np.interp(kelvin, CP_K, CP).mean(axis=0)
        over = truth - room
        loss = self.loss_w_k * over * (1 + rng.normal(0, 0.03) + 0.05 * rng.normal(size=n))
        power = (flow * 1.2929 / 60 * cp * (truth - inlet) + loss) * (states == HOT)
        ohm = self.cold_ohm * 1.04 * (1 + wrong.resistance_pct / 100)
        power[states == WARMING] = (supply**2 / ohm)[states == WARMING]
        reads = truth + wrong.nozzle_c * over / 310.0 + wrong.nozzle_offset_c
        columns = {
            "gun-a/nozzle": reads + 0.6 * rng.normal(size=n),
            "gun-a/flow": flow * (1 + wrong.flow_pct / 100)
            + wrong.flow_zero
            + 0.05 * rng.normal(size=n),
            "gun-a/set": np.where((states == HOT) | (states == WARMING), self.set_c, 0.0),
            "gun-a/terminal": room + 0.02 * np.maximum(truth - room, 0) + 0.05 * rng.normal(size=n),
            "gun-a/inlet": inlet + 0.1 * rng.normal(size=n),
            "gun-a/power": power * (1 + 0.005 * rng.normal(size=n)),
            "gun-a/output": np.clip(100 * power * ohm / supply**2, 0, 100),
            "air/intake": room + 0.1 * rng.normal(size=n),
            "air/supply": supply,
            "air/motor": 2.1 * air + 0.01 * rng.normal(size=n),
        }
        self.true_c = float(np.median(truth[states == HOT]))
        self.true_flow = float(set_flow)
        return START + day * DAY, columns, states

    def _temperature(self, states: np.ndarray, wrong: Wrong, room: np.ndarray) -> np.ndarray:
        held = self.set_c + wrong.own_sensor_c
        if self.regulated:
            gain = wrong.nozzle_c / 310.0
            held = (self.set_c - wrong.nozzle_offset_c + gain * 21.0) / (1 + gain)
        truth = np.where(states == HOT, held, room)
        rising = states == WARMING
        truth[rising] = np.linspace(room[0], held, int(rising.sum()))
        cooling = states == COOLING
        truth[cooling] = held - (held - room[-1]) * np.linspace(0, 0.95, int(cooling.sum()))
        return truth + 0.3 * self.rng.normal(size=len(truth)) * (states == HOT)


def traces_of(station: Station, columns: dict[str, np.ndarray], cut: slice) -> Traces:
    """Give the traces of a block; every step has a reading of its own."""
    made, n = {}, 0
    for channel in station.channels:
        value = columns[channel.id.channel][cut]
        n = len(value)
        made[channel.id.channel] = Trace(
            value, np.ones(n, bool), np.zeros(n, np.int64), np.zeros(n, np.uint8)
        )
    return Traces(station, made, n)


def check(
    station: Station, quantity: Quantity, time: int, reference: float, shown: float
) -> ReferenceCheck:
    channel = station.channel_of(quantity, "a")
    assert channel is not None
    return ReferenceCheck(
        f"c{time}-{quantity}", channel.id, time, reference, shown, "", "np-7", 2.0, "qa", time
    )


def run(
    station: Station,
    shop: Shop,
    faults: dict[int, Wrong],
    shifts: int,
    *,
    probe_sd: float | None = None,
    refit_on: int | None = None,
) -> tuple[GunHealth, list[tuple[int, Finding]]]:
    """Walk the shifts; `faults` says from which shift what is wrong. Give findings by shift."""
    health, found = GunHealth(station, "a"), []
    wrong = Wrong()
    for day in range(shifts):
        wrong = faults.get(day, wrong)
        start, columns, states = shop.shift(day, wrong)
        if day == refit_on:
            health.refit(start * STEP)
        if probe_sd is not None:
            at = (start + 3600 + 240 + 7200) * STEP
            i = 3600 + 240 + 7200
            shown = {
                n: float(np.mean(columns[n][i : i + 60])) for n in ("gun-a/nozzle", "gun-a/flow")
            }
            probe = shop.true_c - 2.3 + shop.rng.normal(0, probe_sd)
            meter = shop.true_flow * (1 + shop.rng.normal(0, 0.015))
            health.note(check(station, Q.NOZZLE_TEMPERATURE, at, probe, shown["gun-a/nozzle"]))
            health.note(check(station, Q.AIR_FLOW, at, meter, shown["gun-a/flow"]))
        findings = []
        for begin in range(0, len(states), 7200):
            cut = slice(begin, begin + 7200)
            findings += health.update(start + begin, traces_of(station, columns, cut), states[cut])
        found += [(day, f) for f in findings]
    return health, found
