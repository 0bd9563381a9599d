"""The diagnosis of one station: readings and events in; live state, alarms and findings out."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from steadybead_domain.alarms.book import AlarmBook
from steadybead_domain.alarms.model import Alarm, AlarmAct, AlarmFact
from steadybead_domain.calibration.model import Fitting
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.diagnosis.clock_watch import ClockWatch
from steadybead_domain.diagnosis.filter_watch import FilterWatch
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.fitness import fitness
from steadybead_domain.diagnosis.flow_margin import FlowMargin
from steadybead_domain.diagnosis.grid import NEVER, STEP, ChannelGrid
from steadybead_domain.diagnosis.gun_watch import GunWatch
from steadybead_domain.diagnosis.limits import AIR_LIMITS
from steadybead_domain.diagnosis.put_off import PutOff
from steadybead_domain.diagnosis.sensor_health import BrokenSensor
from steadybead_domain.diagnosis.signals import Traces
from steadybead_domain.diagnosis.silence import Online, OnlineTimes, Silence
from steadybead_domain.diagnosis.station_checks import StationChecks
from steadybead_domain.diagnosis.weld_times import Procedures
from steadybead_domain.ids import ChannelId
from steadybead_domain.live import LiveStation, LiveValue
from steadybead_domain.maintenance import FilterChange
from steadybead_domain.plant import Channel, Station
from steadybead_domain.procedures import Procedure
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Quality, Reading, Reason
from steadybead_domain.times import MINUTE, SECOND
from steadybead_domain.welds import WeldEvent

LATENESS = SECOND // 2  # a channel that has not gone on is waited for so long
SETTLING = SECOND // 10  # what people enter needs so long to be known here
TRUST_AGAIN = MINUTE  # after readings out of order
BLOCK = 7200  # steps worked on at once: an hour
MOST_PUT_OFF = 40  # steps, 20 s
_VERSION = 2
_SETTLED = int(AIR_LIMITS.cools_s * SECOND)

Note = WeldEvent | AlarmAct | Procedure | Online | FilterChange | ReferenceCheck | Fitting


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an advance gives: the station now, what is new, and all alarms that are not normal."""

    live: LiveStation
    facts: tuple[AlarmFact, ...]
    alarms: tuple[Alarm, ...]
    findings: tuple[Finding, ...]


class StationDiagnosis:
    """Readings are put on a grid of 0.5 s; a step is judged once.

    That is when every channel has a reading past its end, or `LATENESS` after its end. Who sends
    out of order is not taken at the word of his newest reading for `TRUST_AGAIN`.

    Readings of a step that is judged already come too late: they are counted in `late` and
    change nothing here. The same readings and events give the same facts and findings however
    they are cut into batches, as long as none comes late. Times are those of the data.
    """

    def __init__(self, station: Station, procedures: Mapping[str, Procedure]) -> None:
        self.station = station
        self.procedures = Procedures(procedures)
        self.grids = {c.id.channel: ChannelGrid(c) for c in station.channels}
        self.guns = {gun: GunWatch(station, gun, self.procedures) for gun in station.guns}
        self.broken = {c.id.channel: BrokenSensor(c) for c in station.channels}
        self.silence = Silence(station)
        self.online = OnlineTimes()
        self.filter = FilterWatch(station)
        self.margin = FlowMargin(station)
        self.checks = StationChecks(station)
        self.put_off = PutOff()
        self.found: list[Finding] = []
        self.clock = ClockWatch(station.id)
        self.receipts: list[tuple[int, int]] = []
        volts = station.channel_of(Quantity.SUPPLY_VOLTAGE)
        self._volts = None if volts is None else volts.id
        self.book = AlarmBook(station.id)
        self.newest: dict[str, Reading] = {}
        self.next_step: int | None = None
        self.unordered_until = NEVER

    @property
    def late(self) -> int:
        """Count the readings that came too late to be judged."""
        return sum(grid.late for grid in self.grids.values())

    def push(self, columns: Mapping[ChannelId, Columns]) -> None:
        """Take accepted readings, per channel in ascending time; channels of others are ignored."""
        for channel, rows in columns.items():
            grid = self.grids.get(channel.channel)
            if grid is None or channel.station_id != self.station.id or not len(rows):
                continue
            grid.push(rows, self.next_step)
            last = rows.row(-1)
            known = self.newest.get(channel.channel)
            if known is not None and rows.time[0] < known.time:
                self.unordered_until = max(self.unordered_until, known.time + TRUST_AGAIN)
            if known is None or last.time >= known.time:
                self.newest[channel.channel] = last

    def note(self, event: Note) -> None:
        """Take an event of this station; it holds from its own time, a late one from now on."""
        if isinstance(event, Procedure | ReferenceCheck | Fitting):
            self._check_slowly()  # what was judged before is not changed by it
        if isinstance(event, AlarmAct):
            self.book.note(event)
        elif isinstance(event, Procedure):
            self.procedures.add(event)
        elif isinstance(event, ReferenceCheck):
            self._note_check(event)
        elif isinstance(event, Fitting):
            self._note_fitting(event)
        elif event.station != self.station.id:
            return
        elif isinstance(event, Online):
            self.online.note(event)
        elif isinstance(event, FilterChange):
            self.filter.note(event)
        elif event.gun in self.guns:
            self.guns[event.gun].welds.note(event)

    def _note_check(self, check: ReferenceCheck) -> None:
        gun = self.guns.get(check.channel.gun or "")
        if gun is not None and check.channel.station_id == self.station.id:
            gun.health.note(check)

    def _note_fitting(self, fitting: Fitting) -> None:
        """Let a gun learn anew where another instrument is fitted; the voltage is all guns'."""
        if fitting.channel.station_id != self.station.id or fitting.end == fitting.start:
            return
        own = fitting.channel.gun
        is_volts = fitting.channel == self._volts
        for name, gun in self.guns.items():
            if name == own or is_volts:
                gun.health.refit(fitting.start)

    def note_receipt(self, received: int, newest: int) -> None:
        """Take when readings came and the time of the newest; only while they come as they do."""
        self.receipts.append((received, newest))

    def due(self, allowance: int = 0) -> int:
        """Tell when the next step can be judged by what has been heard, as `advance` does."""
        if self.next_step is None:
            return NEVER
        end = (self.next_step + 1) * STEP
        return end + (SETTLING if self._passed(end) >= end else allowance + LATENESS)

    def _passed(self, now: int) -> int:
        """Give the time that every channel has a reading past."""
        if now < self.unordered_until or len(self.newest) < len(self.grids):
            return NEVER
        return min(reading.time for reading in self.newest.values())

    def judged_until(self) -> int:
        """Give the time up to which all is judged, NEVER while nothing is."""
        return NEVER if self.next_step is None else self.next_step * STEP

    def advance(self, now: int, allowance: int = 0, *, put_off: bool = False) -> Outcome:
        """Judge all steps that are over; none if time went back.

        `allowance`, µs: how much later than their time this station's readings come. `put_off`:
        slow checks, which give findings and no alarm, wait for `settle` or `MOST_PUT_OFF` steps.
        """
        waited = now - allowance - LATENESS
        end = max(waited, min(self._passed(now), now - SETTLING)) // STEP
        receipts, self.receipts = self.receipts, []
        self.found += [f for receipt in receipts for f in self.clock.note(*receipt)]
        facts: list[AlarmFact] = []
        if not self.grids:
            return Outcome(self._live(now), (), (), ())
        if self.next_step is None:
            first = min((t for t in self._waiting() if t is not None), default=waited)
            self.next_step = min(first // STEP, end)
        while self.next_step < end:
            self._skip_silence(end)
            n = min(BLOCK, end - self.next_step)
            if n > 0:
                facts += self._judge(self.next_step, n)
                self.next_step += n
        if not put_off or self.put_off.steps >= MOST_PUT_OFF:
            self._check_slowly()
        alarms = self.book.open(now - allowance)
        return Outcome(self._live(now), tuple(facts), alarms, self._taken())

    def settle(self) -> tuple[Finding, ...]:
        """Make the slow checks that were put off and give what they found."""
        self._check_slowly()
        return self._taken()

    def glimpse(self, now: int) -> LiveStation:
        """Give the newest values beside what was judged last, without judging."""
        return self._live(now)

    def _taken(self) -> tuple[Finding, ...]:
        found, self.found = sorted(self.found, key=lambda f: f.time), []
        return tuple(found)

    def _waiting(self) -> list[int | None]:
        events = [w[0].time for g in self.guns.values() if (w := g.welds.waiting)]
        said = [o.time for o in self.online.waiting[:1]]
        return [*(g.earliest() for g in self.grids.values()), *events, *said]

    def _skip_silence(self, end: int) -> None:
        """Pass over steps in which nothing can change: no channel holds a value, nothing waits."""
        newest = max(g.heard for g in self.grids.values())
        longest = max(round(g.channel.silence_s * SECOND) for g in self.grids.values())
        if self.next_step is None or self.silence.begun is None:
            return
        if self.next_step * STEP <= max(newest, self.silence.begun) + longest + _SETTLED:
            return
        due = min((t // STEP for t in self._waiting() if t is not None), default=end)
        self.next_step = max(self.next_step, min(due, end))

    def _judge(self, start: int, n: int) -> list[AlarmFact]:
        traces = {name: grid.trace(start, n) for name, grid in self.grids.items()}
        online = self.online.column(start, n)
        end = (np.arange(start, start + n) + 1) * STEP
        block = Traces(self.station, traces, n)
        worked = [change for g in self.guns.values() for change in g.update(block, start, n)]
        hot = np.logical_or.reduce(
            [g.air.hot_steps for g in self.guns.values()] or [online & False]
        )
        heard = {name: trace.heard for name, trace in traces.items()}
        changed = list(self.silence.update(end, heard, online, hot))
        for name, sensor in self.broken.items():
            changed += sensor.update(end, traces[name])
        changed += worked
        turned, found = self.filter.update(start, block)
        changed += turned
        self.found += found
        if self.put_off.steps and self.put_off.start + self.put_off.steps != start:
            self._check_slowly()
        states = {name: gun.states for name, gun in self.guns.items() if gun.states is not None}
        self.put_off.add(start, n, traces, states)
        changed.sort(key=lambda c: c.time)
        return [fact for change in changed for fact in self.book.apply(change)]

    def _check_slowly(self) -> None:
        """Look at the steps put off with the checks that only give findings."""
        if not self.put_off.steps:
            return
        start, block, states = self.put_off.take(self.station)
        procedure = self.procedures.find(self.station.procedure)
        low_l_min = None if procedure is None else procedure.air_flow.low
        self.found += self.margin.update(start, block, low_l_min)
        self.found += self.checks.update(start, block, states)
        for name, gun in self.guns.items():
            self.found += gun.health.update(start, block, states[name])

    def _live(self, now: int) -> LiveStation:
        time = now if self.next_step is None else min(now, self.next_step * STEP)
        guns = tuple(gun.live(time) for gun in self.guns.values())
        doubts = {name: gun.doubts(time) for name, gun in self.guns.items()}
        fit, reasons = fitness(self.station, guns, doubts, self.book.standing())
        values = tuple(
            self._value(channel, self.newest[channel.id.channel], time)
            for channel in self.station.channels
            if channel.id.channel in self.newest
        )
        return LiveStation(self.station.id, time, fit, reasons, guns, values)

    def _value(self, channel: Channel, reading: Reading, now: int) -> LiveValue:
        low, high = None, None
        stale = now - reading.time > channel.silence_s * SECOND
        if channel.gun in self.guns:
            low, high = self.guns[channel.gun].window(channel.quantity)
        return LiveValue(
            channel.id.channel,
            channel.quantity.value,
            reading.time,
            reading.value,
            channel.unit,
            Quality.BAD.word if stale else reading.quality.word,
            "stale" if stale else reading.reason.text,
            low,
            high,
        )

    def dump(self) -> bytes:
        """Give the memory as bytes that `restore` reads. RuntimeError while checks are put off."""
        if self.put_off.steps:
            raise RuntimeError("checks are put off: call settle first")
        return json.dumps(self._state(), separators=(",", ":"), allow_nan=False).encode()

    def _state(self) -> dict[str, Any]:
        newest = {
            name: [r.time, r.value, r.raw, int(r.quality), int(r.reason), r.plant]
            for name, r in self.newest.items()
        }
        return {
            "version": _VERSION,
            "next_step": self.next_step,
            "quantities": {c.id.channel: c.quantity.value for c in self.station.channels},
            "grids": {name: grid.dump() for name, grid in self.grids.items()},
            "guns": {name: gun.dump() for name, gun in self.guns.items()},
            "broken": {name: sensor.dump() for name, sensor in self.broken.items()},
            "silence": self.silence.dump(),
            "online": self.online.dump(),
            "filter": self.filter.dump(),
            "margin": self.margin.dump(),
            "checks": self.checks.dump(),
            "clock": self.clock.dump(),
            "receipts": self.receipts,
            "book": self.book.dump(),
            "newest": newest,
            "unordered_until": self.unordered_until,
        }

    @classmethod
    def restore(cls, station: Station, procedures: Mapping[str, Procedure], data: bytes) -> Self:
        """Take up what `dump` gave; another version starts fresh, so does what the file changed."""
        made = cls(station, procedures)
        try:
            state = json.loads(data)
        except ValueError:
            return made
        if not isinstance(state, dict) or state.get("version") != _VERSION:
            return made
        made._load(state)
        return made

    def _load(self, state: Mapping[str, Any]) -> None:
        same = {
            c.id.channel
            for c in self.station.channels
            if state["quantities"].get(c.id.channel) == c.quantity.value
        }
        self.next_step = state["next_step"]
        self.unordered_until = state.get("unordered_until", NEVER)
        for name in same:
            self.grids[name].load(state["grids"][name])
            self.broken[name].load(state["broken"][name])
            if name in state["newest"]:
                time, value, raw, quality, reason, plant = state["newest"][name]
                self.newest[name] = Reading(
                    time, value, raw, Quality(quality), Reason(reason), plant
                )
        for name, gun in self.guns.items():
            if name in state["guns"]:
                gun.load(state["guns"][name])
        self.silence.load(state["silence"])
        self.online.load(state["online"], self.station.id)
        drop = self.filter.channel
        if drop is not None and drop.channel in same and "filter" in state:
            self.filter.load(state["filter"])
        if set(state["margin"]["gatherer"]["names"]) == set(self.margin.gatherer.names):
            self.margin.load(state["margin"])
        if "checks" in state:
            self.checks.load(state["checks"])
            self.clock.load(state["clock"])
            self.receipts = [(int(r), int(n)) for r, n in state["receipts"]]
        self.book.load(state["book"])
