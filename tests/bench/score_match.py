"""What counts as found, wrong, honest or false: the told against the true."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from bench.score_shop import us
from bench.score_walk import Block, Told, Walked, raised
from simulated_shop import MONDAY
from steadybead_domain.times import DAY, HOUR, MINUTE
from steadybead_simulator.faults import Fault

GRACE = {True: 30 * HOUR, False: 15 * MINUTE}  # after its end: a slow one may show a shift later

AIR = frozenset({"air_lost_heat_on", "air_lost_heat_unknown", "air_stopped_hot"})
HEAT = frozenset({"heat_low", "heat_high", "heat_high_fume"})
FLOW = frozenset({"flow_low", "flow_high"})
SILENT = frozenset({"channel_silent", "station_silent", "station_silent_hot"})
BROKEN = frozenset(
    {"sensor_open_circuit", "sensor_loop_fault", "sensor_bad", "sensor_intermittent"}
)  # fmt: skip
SIGNS = frozenset({"sensor_spikes", "sensor_impossible_rate"})
NEARS = frozenset({"filter_due", "filter_limit"})
WORN = frozenset({"element_headroom_lost", "element_warm_up_slow"})
CANNOT_TELL = "drift_cannot_tell"
NO_CLAIM = frozenset({"filter_forecast", "station_offline", "station_offline_hot"})


@dataclass(frozen=True, slots=True)
class Meant:
    """What may be said of one kind of fault.

    `right`: names it. `sign`: true of what follows from it, without naming a cause. `cause`: its
    name among the causes that the drift watch weighs. Anything else is a wrong cause.
    """

    right: frozenset[str]
    sign: frozenset[str] = frozenset()
    cause: str = ""
    slow: bool = False


def _m(*right: str | frozenset[str], sign: Sequence[str | frozenset[str]] = (),
       cause: str = "", slow: bool = False) -> Meant:  # fmt: skip
    return Meant(_all(right), _all(sign), cause, slow)


def _all(kinds: Iterable[str | frozenset[str]]) -> frozenset[str]:
    return frozenset().union(*({k} if isinstance(k, str) else k for k in kinds))


_FALLS: tuple[str | frozenset[str], ...] = ("flow_loss", FLOW, HEAT, AIR)
MEANT: Mapping[str, Meant] = {
    "hose_off": _m(AIR, "air_leak", sign=[FLOW, HEAT, WORN]),
    "air_lost": _m(AIR, "flow_low", sign=[HEAT]),
    "air_stopped_before_cool": _m(AIR, sign=[HEAT, FLOW]),
    "nozzle_clogged": _m("flow_low", "flow_loss", sign=[HEAT, AIR], cause="flow_loss"),
    "hose_leak": _m("air_leak", "flow_low", "flow_loss", sign=[HEAT, AIR], cause="flow_loss"),
    "supply_sag": _m("supply_voltage", sign=(HEAT, FLOW, AIR, WORN, "flow_loss"),
                     cause="supply_voltage"),
    "element_break": _m("heat_low", WORN, "element_ageing", sign=[AIR]),
    "open_circuit": _m(BROKEN, sign=[SIGNS, HEAT, FLOW, WORN]),
    "intermittent": _m(BROKEN, SIGNS, sign=[HEAT, FLOW, WORN]),
    "stuck": _m("sensor_stuck", sign=[HEAT, WORN]),
    "swapped_leads": _m("sensor_bad", "thermocouple_drift", SIGNS, sign=[HEAT, WORN]),
    "wrong_type": _m("sensor_bad", "thermocouple_drift", SIGNS, sign=[HEAT, WORN]),
    "channel_silence": _m(SILENT),
    "silence": _m(SILENT),
    "filter_loading": _m(NEARS, sign=("filter_blocked", *_FALLS), slow=True),
    "filter_blockage": _m("filter_blocked", NEARS, sign=_FALLS, slow=True),
    "filter_missing": _m("filter_fell", sign=["flow_high"], slow=True),
    "filter_torn": _m("filter_fell", sign=["flow_high"], slow=True),
    "filter_tapped_out": _m("filter_fell", sign=["flow_high"], slow=True),
    "blower_wear": _m("flow_loss", sign=[FLOW, HEAT], cause="flow_loss", slow=True),
    "element_ageing": _m("element_ageing", "element_warm_up_slow", sign=[WORN, HEAT],
                         cause="element_ageing", slow=True),
    "thermocouple_offset": _m("thermocouple_drift", sign=[HEAT], cause="thermocouple_drift",
                              slow=True),
    "thermocouple_gain": _m("thermocouple_drift", sign=[HEAT], cause="thermocouple_drift",
                            slow=True),
    "tip_moved": _m("thermocouple_drift", sign=[HEAT], cause="thermocouple_drift", slow=True),
    "flow_meter_drift": _m("flow_meter_drift", sign=[FLOW], cause="flow_meter_drift", slow=True),
    "flow_meter_zero": _m("flow_meter_drift", sign=[FLOW], cause="flow_meter_drift", slow=True),
    "pressure_zero": _m("pressure_zero", sign=["filter_fell"], slow=True),  # which asks for it too
    "tube_off": _m("filter_fell", "pressure_lost", "pressure_zero", slow=True),
}  # fmt: skip
NEEDS_DROP = frozenset(k for k in MEANT if k.startswith("filter_"))
# what the size of a fault is in the unit of the cause that the drift watch weighs
_PER_UNIT = {
    "thermocouple_offset": 1.0, "thermocouple_gain": 3.2, "flow_meter_drift": 1.0,
    "flow_meter_zero": 1.9, "element_ageing": 1.0, "supply_sag": 1.0 / 2.3,
}  # fmt: skip


class Outcome(StrEnum):
    """How a fault ended on the scoreboard."""

    RIGHT = "right cause"
    CANNOT_TELL = "cannot tell"
    SIGN = "sign only"
    WRONG = "wrong cause"
    NOT_DETECTABLE = "not detectable, said"
    NO_CHANNEL = "no channel for it"
    MISSED = "missed"
    IDLE = "gun not in use"


@dataclass(frozen=True, slots=True)
class Scored:
    """One fault's outcome; `delay_s` from its onset to the first word, `shifts` begun till then."""

    kind: str
    level: str
    seed: int
    fault: str
    size: float
    outcome: Outcome
    first: str
    delay_s: float | None
    shifts: int | None


def score_fault(walked: Walked, fault: Fault, until: int | None = None) -> Scored:
    """Judge one fault; `until` the next one begins, or the end."""
    meant = MEANT[fault.kind.name]
    start = us(fault.start_s)
    last = min(us(fault.end_s) + GRACE[meant.slow], until or walked.end, walked.end + HOUR)
    said = [
        t
        for t in raised(walked)
        if start <= t.time <= last and _near(t, fault) and not _by_people(walked, t)
    ]
    verdict, first = judge(meant, said)
    if verdict is Outcome.MISSED and not _in_use(walked.blocks, fault):
        verdict = Outcome.IDLE
    elif verdict is Outcome.MISSED:
        verdict = _excused(walked, fault, meant)
    return Scored(
        fault.kind.name,
        walked.span.level,
        walked.span.seed,
        fault.id,
        fault.size,
        verdict,
        "" if first is None else first.kind,
        None if first is None else (first.time - start) / 1e6,
        None if first is None else shifts_between(walked.blocks, start, first.time),
    )


def judge(meant: Meant, said: Sequence[Told]) -> tuple[Outcome, Told | None]:
    """Judge what was said: the first word that names a cause decides, right after doubt counts.

    A sign that is true counts as found if nothing else was said.
    """
    first: dict[Outcome, Told] = {}
    for told in sorted(said, key=lambda t: t.time):
        if told.kind in NO_CLAIM or (told.kind in SILENT and told.kind not in meant.right):
            continue
        if (verdict := _class(meant, told)) is not None:
            first.setdefault(verdict, told)
    right, doubt = first.get(Outcome.RIGHT), first.get(Outcome.CANNOT_TELL)
    wrong, sign = first.get(Outcome.WRONG), first.get(Outcome.SIGN)
    named = [t for t in (right, doubt) if t is not None]
    if wrong is not None and all(wrong.time < t.time for t in named):
        return Outcome.WRONG, wrong
    earliest = min((t for t in (right, doubt, sign) if t), key=lambda t: t.time, default=None)
    if right is not None:
        return Outcome.RIGHT, earliest
    if doubt is not None:
        return Outcome.CANNOT_TELL, earliest
    return (Outcome.SIGN, sign) if sign is not None else (Outcome.MISSED, None)


def _class(meant: Meant, told: Told) -> Outcome | None:
    """Class one word; None: it speaks of a reading or of the filter's age, not of a cause."""
    if told.kind in meant.right:
        return Outcome.RIGHT
    if told.kind == CANNOT_TELL:
        return Outcome.CANNOT_TELL if meant.cause in told.causes else Outcome.WRONG
    if told.kind in meant.sign:
        return Outcome.SIGN
    return None if told.kind in AIR | HEAT | FLOW | NEARS else Outcome.WRONG


def _by_people(walked: Walked, told: Told) -> bool:
    """Tell whether the word speaks of what people did to the filter meanwhile."""
    acts = ("filter_changed", "filter_tapped_out")
    days = [told.time - r.start for r in walked.truth if r.kind in acts and r.what == "act"]
    return told.kind == "filter_fell" and any(0 <= d < DAY for d in days)


def _near(told: Told, fault: Fault) -> bool:
    """Tell whether something said may speak of this place: not of another gun."""
    gun = fault.gun or _gun(fault.channel)
    return gun is None or told.gun is None or told.gun == gun


def _gun(channel: str | None) -> str | None:
    is_gun = channel is not None and channel.startswith("gun-")
    return channel.split("/")[0].removeprefix("gun-") if channel and is_gun else None


def _in_use(blocks: Sequence[Block], fault: Fault) -> bool:
    """Tell whether the place was at work for half an hour of the fault, or all of a short one."""
    start, end = us(fault.start_s), us(fault.end_s)
    gun = fault.gun or _gun(fault.channel)
    rows = [b for b in blocks if start < b.time and b.time - 5 * MINUTE < end]
    if fault.kind.name in ("channel_silence", "silence"):
        return end - start > 45 * 10**6 and len(rows) > 0
    busy = [b for b in rows if (gun in b.busy if gun is not None else b.busy)]
    return len(busy) >= min(6, (end - start) // (5 * MINUTE)) and len(busy) > 0


def _excused(walked: Walked, fault: Fault, meant: Meant) -> Outcome:
    """Tell a miss from what the product says it cannot see."""
    if fault.kind.name in NEEDS_DROP and "air/filter" not in {
        c.id.channel for c in walked.span.station.channels
    }:
        return Outcome.NO_CHANNEL
    scope = walked.scopes.get(fault.id, {})
    if fault.kind.name == "pressure_zero" and "pressure_zero" in scope:
        smallest = scope["pressure_zero"]
        small = smallest is None or abs(fault.size) < smallest
        return Outcome.NOT_DETECTABLE if small else Outcome.MISSED
    if meant.cause and meant.cause in scope:
        smallest = scope[meant.cause]
        size = _size(walked, fault, meant)
        if smallest is None or size < smallest:
            return Outcome.NOT_DETECTABLE
    return Outcome.MISSED


def _size(walked: Walked, fault: Fault, meant: Meant) -> float:
    """Give a fault's size in the unit of its cause; of lost flow what the meters showed."""
    if meant.cause == "flow_loss":
        gun = fault.gun or walked.span.station.guns[0]
        return flow_lost_pct(walked.blocks, gun, us(fault.start_s), us(fault.end_s))
    return abs(fault.size) * _PER_UNIT.get(fault.kind.name, float("inf"))


def flow_lost_pct(blocks: Sequence[Block], gun: str, start: int, end: int) -> float:
    """Give how much of a gun's flow was lost in [start, end) beside the fortnight before, in %."""
    rows = [(b.time, b.of_gun[gun]) for b in blocks if gun in b.of_gun]
    before = [flow for time, flow in rows if start - 14 * DAY < time <= start]
    during = [flow for time, flow in rows if start < time <= end]
    if not before or not during:
        return float("inf")
    return 100.0 * (1.0 - float(np.median(during)) / float(np.median(before)))


def shifts_between(blocks: Sequence[Block], start: int, time: int) -> int:
    """Count the shifts that began after the day of `start` up to `time`, the first one with it."""
    days = {(b.time - MONDAY) // DAY for b in blocks if b.busy}
    first, last = (start - MONDAY) // DAY, (time - MONDAY) // DAY
    return sum(first <= d <= last for d in days)


def score_faults(walked: Walked) -> list[Scored]:
    """Judge all faults of a span, each up to the onset of the next."""
    faults = sorted(walked.span.faults, key=lambda f: f.start_s)
    ends = [us(f.start_s) for f in faults[1:]]
    begun = [f for f in faults if us(f.start_s) < walked.end]
    nexts: list[int | None] = [*ends, None]
    return [score_fault(walked, f, nexts[i]) for i, f in enumerate(begun)]
