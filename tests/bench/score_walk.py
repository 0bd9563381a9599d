"""Walks one span: readings, weld events and checks to the diagnosis; what it said to the judges."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from bench.score_shop import Span, checked_error, procedures
from simulated_shop import MONDAY
from steadybead_domain.calibration.reference_check import ReferenceCheck
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.station import Outcome, StationDiagnosis
from steadybead_domain.ids import ChannelId
from steadybead_domain.maintenance import FilterChange, FilterWork
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Float64, Int64, Quality
from steadybead_domain.times import DAY, HOUR, MINUTE
from steadybead_simulator.history import HistoryBlock, history
from steadybead_simulator.truth import Truth

ADVANCE_BLOCKS = 12  # an hour: the same findings as oftener, as long as no reading comes late
HOT_C, AIR_L_MIN = 200.0, 20.0
WARM_BLOCKS = 4
PASSED_PA = 330.0  # at 100 L/min: clearly beyond every limit that is scored
_Q = Quantity


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that the diagnosis said, a finding or the raise of an alarm."""

    kind: str
    gun: str | None
    channel: str | None
    time: int
    active: bool = True
    is_alarm: bool = False
    sure: bool = True
    causes: tuple[str, ...] = ()
    remaining_h: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Block:
    """Five minutes in one row: means of the samples while gun a blows hot, NaN where it does not.

    `air_share`: share of the time with air at any gun; `hot` whether gun a was hot throughout;
    `flow_l_min` of all guns together, `of_gun` of each; `busy`: guns with air.
    """

    time: int
    air_share: float
    hot: bool
    nozzle_c: float
    flow_l_min: float
    drop_pa: float
    busy: tuple[str, ...]
    of_gun: Mapping[str, float]


@dataclass(slots=True)
class Walked:
    """What a span gave. `samples`: (time, value) of a channel's usable readings."""

    span: Span
    told: list[Told] = field(default_factory=list)
    truth: list[Truth] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    samples: dict[str, tuple[Int64, Float64]] = field(default_factory=dict)
    scopes: dict[str, dict[str, float | None]] = field(default_factory=dict)
    late: int = 0
    end: int = MONDAY


def walk(span: Span) -> Walked:
    """Walk the span from Monday on."""
    return Walk(span).run()


class Walk:
    def __init__(self, span: Span) -> None:
        self.span = span
        self.diagnosis = StationDiagnosis(span.station, procedures())
        self.known = {c.id for c in span.station.channels}
        self.seen = Walked(span)
        self.parts: dict[str, list[tuple[Int64, Float64]]] = {}
        self.checked_on = -1
        self.warm = 0

    def run(self) -> Walked:
        span = self.span
        end = MONDAY + span.days * DAY
        blocks = history(span.plant, span.scenario, span.seed, MONDAY, end)
        for count, block in enumerate(blocks, 1):
            self._take(block)
            self.seen.end = block.received
            if count % ADVANCE_BLOCKS == 0:
                self._hear(self.diagnosis.advance(block.received))
                self._look_at_scopes(block.received)
            if span.until_limit and self._is_over(block):
                break
        self._hear(self.diagnosis.advance(self.seen.end + HOUR))
        self._look_at_scopes(self.seen.end + 10_000 * DAY)
        self.seen.late = self.diagnosis.late
        for name, parts in self.parts.items():
            times, values = zip(*parts, strict=True)
            self.seen.samples[name] = np.concatenate(times), np.concatenate(values)
        return self.seen

    def _take(self, block: HistoryBlock) -> None:
        self.diagnosis.push({c: v for c, v in block.columns.items() if c in self.known})
        for event in block.weld_events:
            self.diagnosis.note(event)
        for row in block.truth:
            if row.kind in ("filter_changed", "filter_tapped_out") and row.recorded:
                self.diagnosis.note(_change(self.span, row))
        self.seen.truth += block.truth
        if block.columns:
            self._keep(block)

    def _keep(self, block: HistoryBlock) -> None:
        row = _block(self.span, block)
        self.seen.blocks.append(row)
        self.warm = self.warm + 1 if row.hot else 0
        if not self.span.until_limit:
            for channel in self.span.station.channels:
                if channel.quantity in (_Q.NOZZLE_TEMPERATURE, _Q.AIR_FLOW):
                    self._keep_samples(channel.id, block.columns[channel.id])
        day = (row.time - MONDAY) // DAY
        if self.span.has_checks and self.warm >= WARM_BLOCKS and day != self.checked_on:
            self._check(block, day)

    def _keep_samples(self, channel: ChannelId, rows: Columns) -> None:
        usable = rows.quality != Quality.BAD
        part = rows.time[usable], rows.value[usable]
        self.parts.setdefault(channel.channel, []).append(part)

    def _check(self, block: HistoryBlock, day: int) -> None:
        """Hold needle probe and flow meter to gun a, once a shift, when all is steady."""
        pairs = [("nozzle", "probe"), ("flow", "held")]
        columns = {c.channel: v for c, v in block.columns.items()}
        last = {n: _last_minute(columns[f"gun-a/{n}"]) for pair in pairs for n in pair}
        means = {n: float(np.mean(v)) for n, v in last.items() if v is not None}
        if len(means) < len(last):
            return
        self.checked_on = day
        of_probe, of_meter = checked_error(self.span.seed, day)
        references = means["probe"] + of_probe, means["held"] * (1.0 + of_meter)
        for (name, _), reference in zip(pairs, references, strict=True):
            self._note_check(block, day, name, (reference, means[name]))

    def _note_check(
        self, block: HistoryBlock, day: int, name: str, seen: tuple[float, float]
    ) -> None:
        station = self.span.station.id
        self.diagnosis.note(
            ReferenceCheck(
                f"{name}-{day}",
                ChannelId(station.site, station.station, f"gun-a/{name}"),
                block.received - MINUTE,
                *seen,
                "",
                "np-1",
                2.0,
                "quality",
                block.received,
            )
        )

    def _is_over(self, block: HistoryBlock) -> bool:
        return any(
            (row.kind == "filter_drop" and (row.size or 0.0) > PASSED_PA)
            or row.kind in ("filter_changed", "filter_tapped_out")
            for row in block.truth
        )  # fmt: skip

    def _hear(self, outcome: Outcome) -> None:
        self.seen.told += [_of_finding(f) for f in outcome.findings]
        for fact in outcome.facts:
            if not fact.suppressed and not fact.merged_into:
                channel = None if fact.channel is None else fact.channel.channel
                self.seen.told.append(
                    Told(fact.kind, fact.gun, channel, fact.time, fact.active, is_alarm=True)
                )

    def _look_at_scopes(self, now: int) -> None:
        """Ask once for each fault, when it is over, what the product says it can see."""
        for fault in self.span.faults:
            if fault.id in self.seen.scopes or now < MONDAY + round(fault.end_s * 1e6):
                continue
            gun = fault.gun or _gun_of(fault.channel) or "a"
            watch = self.diagnosis.guns[gun].health.drift
            scope = {s.cause: s.smallest for s in watch.scope()}
            scope["pressure_zero"] = self.diagnosis.checks.zero.smallest(fault.channel or "")
            self.seen.scopes[fault.id] = scope


def _change(span: Span, row: Truth) -> FilterChange:
    tapped = row.kind == "filter_tapped_out"
    work = FilterWork.TAPPED_OUT if tapped else FilterWork.CHANGED
    return FilterChange(span.station.id, row.start, work)


def _gun_of(channel: str | None) -> str | None:
    if channel is None or not channel.startswith("gun-"):
        return None
    return channel.split("/")[0].removeprefix("gun-")


def _of_finding(finding: Finding) -> Told:
    evidence = dict(finding.evidence)
    causes = tuple(n.removeprefix("share of ") for n in evidence if n.startswith("share of "))
    hours = [evidence.get(f"{n}_h") for n in ("low", "remaining", "high")]
    known = [h for h in hours if isinstance(h, int | float)]
    channel = None if finding.channel is None else finding.channel.channel
    return Told(
        finding.kind,
        finding.gun or _gun_of(channel),
        channel,
        finding.time,
        active=not finding.kind.endswith("_over"),
        causes=causes,
        sure=len(causes) <= 1,
        remaining_h=(known[0], known[1], known[2]) if len(known) == 3 else None,
    )


def _last_minute(rows: Columns) -> Float64 | None:
    """Give the last minute's values, None if they are too few, bad or not steady."""
    late = rows.take(rows.time > rows.time[-1] - MINUTE) if len(rows) else rows
    good = late.value[late.quality != Quality.BAD]
    steady = len(good) >= 10 and len(good) == len(late)
    return (
        good
        if steady and float(np.std(good)) < max(0.03 * abs(float(np.mean(good))), 3.0)
        else None
    )


def _block(span: Span, block: HistoryBlock) -> Block:
    station = span.station
    usable = {
        c.channel: v for c, v in block.columns.items() if c in {x.id for x in station.channels}
    }
    flows = {g: _values(usable.get(f"gun-{g}/flow")) for g in station.guns}
    blowing = {g: float(np.mean(f > AIR_L_MIN)) if len(f) else 0.0 for g, f in flows.items()}
    nozzle, flow = _values(usable.get("gun-a/nozzle")), flows["a"]
    hot = len(nozzle) > 0 and len(flow) > 0 and bool(nozzle.min() > HOT_C) and blowing["a"] == 1.0
    drop = _values(usable.get("air/filter"))
    total = sum(float(np.mean(f)) for f in flows.values() if len(f))
    return Block(
        block.received,
        max(blowing.values()),
        hot,
        float(np.mean(nozzle)) if hot else float("nan"),
        total if max(blowing.values()) > 0 else float("nan"),
        float(np.mean(drop)) if len(drop) and max(blowing.values()) == 1.0 else float("nan"),
        tuple(g for g, share in blowing.items() if share > 0.2),
        {g: float(np.mean(f)) for g, f in flows.items() if blowing[g] == 1.0},
    )


def _values(rows: Columns | None) -> Float64:
    if rows is None:
        return np.zeros(0)
    values: Float64 = rows.value[rows.quality != Quality.BAD]
    return values


def raised(walked: Walked) -> Iterator[Told]:
    """Give what was said anew: findings, and raises of alarms."""
    return (t for t in walked.told if t.active)
