"""A shop on virtual time, and a language in which its rules can be written down.

    shop = Shop(seed=1)
    bay = shop.station("bay-1")
    bay.at("07:05", gun="a", heat=True, air=50)
    bay.at("09:12", gun="a", air=0)
    bay.expect(between("09:12:00", "09:12:03"), raised("air_lost_heat_on", gun="a"))
    shop.run(until="16:00")
    shop.check()

The signals are synthetic on purpose (first-order heating, white noise): they try the rules, not
the physics. Day and clock are UTC, 2026-05-04.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from steadybead_domain.alarms.model import ActKind, Alarm, AlarmAct, AlarmFact, AlarmState
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.diagnosis.silence import Online
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.diagnosis.steps import Bool
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.live import LiveStation
from steadybead_domain.plant import Channel, Station
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Float64, Int64, Quality, Reason
from steadybead_domain.times import SECOND, parse_rfc3339
from steadybead_domain.welds import WeldEvent, WeldEventKind

MIDNIGHT = parse_rfc3339("2026-05-04T00:00:00Z")
GUN_QUANTITIES = {
    "nozzle": Quantity.NOZZLE_TEMPERATURE,
    "flow": Quantity.AIR_FLOW,
    "output": Quantity.HEATER_OUTPUT,
}
PP = Procedure(
    "pp-speed-nozzle",
    "PP, speed nozzle",
    "PP",
    "641",
    Window(300.0, 340.0, "Cel"),
    Window(45.0, 55.0, "L/min"),
    FlowReference.ACTUAL,
    "domain table, from memory",
    "2013 draft",
    warm_up_s=600.0,
)
PVDF = Procedure(
    "pvdf-speed-nozzle",
    "PVDF, speed nozzle",
    "PVDF",
    "641",
    Window(365.0, 385.0, "Cel"),
    Window(45.0, 55.0, "L/min"),
    FlowReference.ACTUAL,
    "domain table, from memory",
    "2005",
)
PROCEDURES = {p.id: p for p in (PP, PVDF)}


def clock(text: str) -> int:
    """Read `HH:MM` or `HH:MM:SS` of the virtual day as µs."""
    text = text if text.count(":") == 2 else f"{text}:00"
    return parse_rfc3339(f"2026-05-04T{text}Z")


def made_station(
    name: str,
    guns: str = "a",
    quantities: Mapping[str, Quantity] | None = None,
    air: Mapping[str, Quantity] | None = None,
) -> Station:
    """Build a station with engineering units on the wire; `air` are channels of the source."""
    chosen = GUN_QUANTITIES if quantities is None else quantities
    channels = tuple(
        Channel(ChannelId("north", name, f"gun-{gun}/{what}"), q, q.facts.unit)
        for gun in guns
        for what, q in chosen.items()
    )
    channels += tuple(
        Channel(ChannelId("north", name, f"air/{what}"), q, q.facts.unit)
        for what, q in (air or {}).items()
    )
    return Station(StationId("north", name), channels, procedure=PP.id)


def columns(
    times: Int64,
    values: Float64,
    quality: Quality = Quality.GOOD,
    reason: Reason = Reason.NONE,
) -> Columns:
    """Build columns of one quality."""
    n = len(times)
    return Columns(
        np.asarray(times, np.int64),
        np.asarray(values, np.float64),
        np.asarray(values, np.float64),
        np.full(n, quality, np.uint8),
        np.full(n, reason, np.uint8),
        np.ones(n, np.uint32),
    )


@dataclass(frozen=True)
class Between:
    """A stretch of the virtual day, ends included."""

    start: int
    end: int


def between(start: str, end: str) -> Between:
    """Name a stretch."""
    return Between(clock(start), clock(end))


@dataclass(frozen=True)
class Expected:
    """A change of condition that must come, or (`never`) must not."""

    kind: str
    active: bool
    gun: str | None = None
    never: bool = False

    def fits(self, fact: AlarmFact) -> bool:
        """Tell whether a fact is the expected one."""
        return (
            fact.kind == self.kind
            and fact.active is self.active
            and not fact.merged_into
            and self.gun in (None, fact.gun)
        )


def raised(kind: str, gun: str | None = None) -> Expected:
    """Expect an alarm to come."""
    return Expected(kind, active=True, gun=gun)


def cleared(kind: str, gun: str | None = None) -> Expected:
    """Expect an alarm's condition to go."""
    return Expected(kind, active=False, gun=gun)


def not_raised(kind: str, gun: str | None = None) -> Expected:
    """Expect an alarm not to come."""
    return Expected(kind, active=True, gun=gun, never=True)


@dataclass
class Turn:
    """What is changed on a gun at a time; None leaves as it was."""

    time: int
    gun: str
    heat: bool | None = None
    air: float | None = None
    set_c: float | None = None
    dead: str | None = None
    silent: str | None = None
    mended: bool = False


@dataclass(frozen=True)
class Act:
    """What somebody does to the alarm of a kind."""

    time: int
    kind: ActKind
    of: str
    until: int | None

    def on(self, alarms: tuple[Alarm, ...]) -> AlarmAct:
        """Make the act on the alarm that is shown."""
        alarm = next(a.raised.alarm for a in alarms if a.raised.kind == self.of)
        return AlarmAct(alarm, self.kind, self.time, "ann", self.until, "known, part ordered")


@dataclass
class Seen:
    """What the diagnosis said in the course of the run."""

    facts: list[AlarmFact] = field(default_factory=list)
    live: list[LiveStation] = field(default_factory=list)
    alarms: list[tuple[int, tuple[Alarm, ...]]] = field(default_factory=list)


class Bay:
    """One station of the virtual shop."""

    def __init__(self, station: Station, seed: int) -> None:
        self.station = station
        self.noise = np.random.default_rng(seed)
        self.turns: list[Turn] = []
        self.notes: list[WeldEvent | AlarmAct | Online] = []
        self.acts: list[Act] = []
        self.expected: list[tuple[Between, Expected]] = []
        self.seen = Seen()
        self.plain: dict[str, list[tuple[str, float]]] = {}

    def at(self, when: str, gun: str = "a", **change: object) -> None:
        """Change a gun: heat, air (L/min), set_c, dead or silent (a channel), mended."""
        self.turns.append(Turn(clock(when), gun, **change))  # type: ignore[arg-type]

    def shows(self, channel: str, *turns: tuple[str, float]) -> None:
        """Give a channel plain values, each from its time on."""
        self.plain[channel] = list(turns)

    def weld(self, start: str, stop: str, name: str, procedure: str | None = None) -> None:
        """Lay down a weld record on gun a."""
        for kind, when in ((WeldEventKind.START, start), (WeldEventKind.STOP, stop)):
            self.notes.append(
                WeldEvent(kind, name, self.station.id, "a", clock(when), "x", "mqtt", procedure)
            )

    def online(self, when: str, up: bool) -> None:
        """Say that the station is on line or not."""
        self.notes.append(Online(self.station.id, clock(when), up))

    def act(self, when: str, kind: ActKind, of: str, until: str | None = None) -> None:
        """Let somebody act on the alarm of a kind that is shown at that time."""
        self.acts.append(Act(clock(when), kind, of, None if until is None else clock(until)))

    def state(self, kind: str, when: str) -> AlarmState:
        """Give the state in which an alarm was shown at a time; normal if it was not."""
        shown = [alarms for now, alarms in self.seen.alarms if now <= clock(when)][-1]
        return next((a.state for a in shown if a.raised.kind == kind), AlarmState.NORMAL)

    def expect(self, when: Between, what: Expected) -> None:
        """Write a rule down."""
        self.expected.append((when, what))

    def readings(self, start: int, end: int, rate_hz: float) -> dict[ChannelId, Columns]:
        """Give the synthetic readings of [start, end)."""
        time = np.arange(start, end, round(SECOND / rate_hz))
        made: dict[ChannelId, Columns] = {}
        for gun in self.station.guns:
            made |= dict(self._gun(gun, time, rate_hz))
        for name, turns in self.plain.items():
            column = np.full(len(time), np.nan)
            for when, value in turns:
                column[time >= clock(when)] = value
            channel = ChannelId("north", self.station.id.station, name)
            made[channel] = columns(time, column).take(~np.isnan(column))
        return made

    def _gun(self, gun: str, time: Int64, rate_hz: float) -> Iterator[tuple[ChannelId, Columns]]:
        turns = sorted((t for t in self.turns if t.gun == gun), key=lambda t: t.time)
        n = len(time)
        heat = _turned(time, turns, lambda t: t.heat, 0.0) > 0
        air = _turned(time, turns, lambda t: t.air, 0.0)
        target = _turned(time, turns, lambda t: t.set_c, 320.0)
        nozzle = self._nozzle(heat & (air > 5), target, air, rate_hz)
        output = np.where(heat, np.where(nozzle < target - 15, 100.0, 45.0), 0.0)
        known = {c.id for c in self.station.channels}
        for what, values, sigma in (
            ("nozzle", nozzle, 0.5),
            ("flow", air, 0.3),
            ("output", output, 0.0),
        ):
            channel = ChannelId("north", self.station.id.station, f"gun-{gun}/{what}")
            noisy = values + sigma * self.noise.standard_normal(n)
            if channel in known:
                yield channel, _ailing(columns(time, noisy), turns, what)

    @staticmethod
    def _nozzle(heated: Bool, target: Float64, air: Float64, rate_hz: float) -> Float64:
        goal = np.where(heated, target, 22.0)
        share = 1.0 - np.exp(-1.0 / (np.where(air > 5, 35.0, 90.0) * rate_hz))
        nozzle = np.empty(len(goal))
        now = 22.0
        for i in range(len(goal)):
            now += share[i] * (goal[i] - now)
            nozzle[i] = now
        return nozzle


def _turned(
    time: Int64, turns: Sequence[Turn], pick: Callable[[Turn], float | None], before: float
) -> Float64:
    column = np.full(len(time), before)
    for turn in turns:
        value = pick(turn)
        if value is not None:
            column[time >= turn.time] = value
    return column


def _ailing(rows: Columns, turns: Sequence[Turn], what: str) -> Columns:
    gone = _marked(rows.time, turns, lambda t: t.silent == what)
    dead = _marked(rows.time, turns, lambda t: t.dead == what)
    rows.quality[dead] = Quality.BAD
    rows.reason[dead] = Reason.OPEN_CIRCUIT
    rows.value[dead] = 0.0
    return rows.take(~gone)


def _marked(time: Int64, turns: Sequence[Turn], begins: Callable[[Turn], bool]) -> Bool:
    def mark(turn: Turn) -> float | None:
        return 1.0 if begins(turn) else 0.0 if turn.mended else None

    return _turned(time, turns, mark, 0.0) > 0


class Shop:
    """All stations of a virtual day."""

    def __init__(self, seed: int = 1) -> None:
        self.seed = seed
        self.bays: dict[str, Bay] = {}

    def station(self, name: str, guns: str = "a", **kwargs: object) -> Bay:
        """Set up a station."""
        station = made_station(name, guns, **kwargs)  # type: ignore[arg-type]
        self.bays[name] = Bay(station, self.seed + len(self.bays))
        return self.bays[name]

    def run(
        self, start: str = "07:00", until: str = "16:00", tick_s: float = 10.0, rate_hz: float = 1.0
    ) -> None:
        """Let the day pass: readings arrive tick by tick, and the diagnosis moves on."""
        for bay in self.bays.values():
            self._run(bay, clock(start), clock(until), round(tick_s * SECOND), rate_hz)

    @staticmethod
    def _run(bay: Bay, start: int, end: int, tick: int, rate_hz: float) -> None:
        diagnosis = StationDiagnosis(bay.station, PROCEDURES)
        readings = bay.readings(start, end, rate_hz)
        notes = sorted(bay.notes, key=lambda n: n.time)
        acts = sorted(bay.acts, key=lambda a: a.time)
        for now in range(start + tick, end + 2 * tick, tick):
            while notes and notes[0].time < now:
                diagnosis.note(notes.pop(0))
            diagnosis.push(
                {
                    channel: rows.take(
                        slice(*np.searchsorted(rows.time, (now - tick, now), "left").tolist())
                    )
                    for channel, rows in readings.items()
                }
            )
            outcome = diagnosis.advance(now)
            while acts and acts[0].time < now:
                diagnosis.note(acts.pop(0).on(outcome.alarms))
                outcome = replace(diagnosis.advance(now), facts=outcome.facts)
            bay.seen.facts += outcome.facts
            bay.seen.live.append(outcome.live)
            bay.seen.alarms.append((now, outcome.alarms))

    def check(self) -> None:
        """Hold what was seen against the rules; AssertionError tells which one is broken."""
        for name, bay in self.bays.items():
            for when, what in bay.expected:
                hits = [f for f in bay.seen.facts if what.fits(f)]
                inside = [f for f in hits if when.start <= f.time <= when.end]
                broken = bool(inside) if what.never else not inside
                told = [(f.kind, f.active, (f.time - MIDNIGHT) / SECOND) for f in bay.seen.facts]
                assert not broken, f"{name}: {what} {when}; seen {told}"
