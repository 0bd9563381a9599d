"""Loss of air and values out of range as the sensors show them, against the alarms."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bench.score_match import AIR, FLOW, HEAT, NO_CLAIM, SILENT
from bench.score_shop import PROCEDURE, us
from bench.score_walk import HOT_C, Told, Walked, raised
from simulated_shop import MONDAY
from steadybead_domain.diagnosis.limits import RANGE_LIMITS
from steadybead_domain.readings import Float64, Int64
from steadybead_domain.times import DAY, MINUTE, SECOND

Samples = tuple[Int64, Float64]
NOTHING: Samples = (np.zeros(0, np.int64), np.zeros(0))
AIR_GONE_L_MIN = 0.25 * (PROCEDURE.air_flow.low or 0.0)
SLACK = 1.2  # of the on-delay, and 5 s
STILL_HOT_C = 110.0


@dataclass(frozen=True, slots=True)
class Event:
    """One event that the readings show. `delay_s` None: no alarm in time."""

    what: str
    level: str
    seed: int
    gun: str
    time: int
    delay_s: float | None


def air_events(walked: Walked) -> Iterator[Event]:
    """Give each loss of air at a hot gun, from the first reading that shows it.

    The flow was there for five readings and is gone for three, while the last reading of the
    nozzle, not older than 5 s, lies above 200 °C.
    """
    for gun in walked.span.station.guns:
        flow = walked.samples.get(f"gun-{gun}/flow", NOTHING)
        nozzle = walked.samples.get(f"gun-{gun}/nozzle", NOTHING)
        alarms = [t.time for t in raised(walked) if t.kind in AIR and t.gun == gun]
        for time in losses(flow, nozzle):
            delays = [(a - time) / SECOND for a in alarms if 0 <= a - time <= 10 * SECOND]
            yield Event(
                "air lost",
                walked.span.level,
                walked.span.seed,
                gun,
                time,
                min(delays, default=None),
            )


def losses(flow: Samples, nozzle: Samples) -> list[int]:
    """Find the times at which the air went while the gun was hot."""
    time, value = flow
    if len(time) < 9 or not len(nozzle[0]):
        return []
    gone = value < AIR_GONE_L_MIN
    near = np.concatenate((np.diff(time) < 2 * SECOND, [False]))
    found = []
    for i in np.flatnonzero(gone[5:-3] & ~gone[4:-4]) + 5:
        whole = near[i - 5 : i + 2].all() and not gone[i - 5 : i].any() and gone[i : i + 3].all()
        j = int(np.searchsorted(nozzle[0], time[i], "right")) - 1
        if whole and j >= 0 and time[i] - nozzle[0][j] < 5 * SECOND and nozzle[1][j] > HOT_C:
            found.append(int(time[i]))
    return found


def range_events(walked: Walked) -> Iterator[Event]:
    """Give each stretch of a true weld that lies beyond its window by the deadband long enough.

    Left out: within ten minutes after air was lost, when the gun is warming again, and while the
    nozzle is not hot: a gun that is off or cooling is out of its window by design.
    """
    welds = [(r.gun, r.start, r.end or r.start) for r in walked.truth if r.what == "weld"]
    for gun in walked.span.station.guns:
        lost = [t.time for t in raised(walked) if t.kind in AIR and t.gun == gun]
        for kind, (name, limit, sign) in _sides().items():
            delay_s, band = RANGE_LIMITS[kind].on_delay_s, RANGE_LIMITS[kind].deadband
            time, value = walked.samples.get(f"gun-{gun}/{name}", NOTHING)
            beyond = (sign * (value - limit) >= band) & _hot_at(walked, gun, time)
            least = round((SLACK * delay_s + 5.0) * SECOND)
            active = _active(walked.told, kind, gun)
            for first, last in _runs(time, beyond):
                for start, end in ((max(first, a), min(last, b)) for g, a, b in welds if g == gun):
                    late = any(-MINUTE < start - t < 10 * MINUTE for t in lost)
                    if end - start < least or late:
                        continue
                    delays = [
                        max(0.0, (a - start) / SECOND)
                        for a, b in active
                        if a <= start + least and b >= start
                    ]
                    yield Event(
                        kind, walked.span.level, walked.span.seed, gun, start,
                        min(delays, default=None),
                    )  # fmt: skip


def _hot_at(walked: Walked, gun: str, time: Int64) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Tell at which times the last reading of the nozzle lies above 200 °C."""
    read_at, value = walked.samples.get(f"gun-{gun}/nozzle", NOTHING)
    if not len(read_at):
        return np.zeros(len(time), np.bool_)
    last = np.maximum(np.searchsorted(read_at, time, "right") - 1, 0)
    hot: np.ndarray[tuple[int], np.dtype[np.bool_]] = value[last] > HOT_C
    return hot


def _sides() -> dict[str, tuple[str, float, float]]:
    t, q = PROCEDURE.nozzle_temperature, PROCEDURE.air_flow
    return {
        "heat_low": ("nozzle", t.low or 0.0, -1.0),
        "heat_high": ("nozzle", t.high or 0.0, 1.0),
        "flow_low": ("flow", q.low or 0.0, -1.0),
        "flow_high": ("flow", q.high or 0.0, 1.0),
    }


def _runs(time: Int64, mask: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    """Give stretches in which the mask holds, without a gap of 3 s."""
    if not len(time):
        return []
    steps = np.flatnonzero((np.diff(time) > 3 * SECOND) | (np.diff(mask.astype(np.int8)) != 0))
    bounds = [0, *(steps + 1).tolist(), len(time)]
    return [(int(time[a]), int(time[b - 1])) for a, b in pairwise(bounds) if mask[a]]


def _active(told: list[Told], kind: str, gun: str) -> list[tuple[int, int]]:
    """Give the stretches in which an alarm was on; one that stays on ends far in the future."""
    rows = [t for t in told if t.is_alarm and t.kind == kind and t.gun == gun]
    found: list[tuple[int, int]] = []
    since: int | None = None
    for row in sorted(rows, key=lambda t: t.time):
        if row.active and since is None:
            since = row.time
        elif not row.active and since is not None:
            found.append((since, row.time))
            since = None
    return found if since is None else [*found, (since, 2**62)]


def false_alarm(walked: Walked, told: Told) -> bool:
    """Tell whether nothing in the readings or in what people did bears out what was said.

    For stretches without a fault: words on drift, element or sensors are false there; a loss of
    air or a value out of range is true if the readings show it; the filter's signs are judged by
    its true drop and by what was done to it.
    """
    if told.kind in NO_CLAIM or told.kind in SILENT:
        return False
    if told.kind in AIR:
        return not _air_was_gone(walked, told)
    if told.kind in HEAT | FLOW:
        return not _was_outside(walked, told)
    if told.kind in ("filter_due", "filter_limit"):
        return not _nears_limit(walked, told)
    if told.kind == "filter_fell":
        acts = ("filter_changed", "filter_tapped_out")
        return not any(r.kind in acts and 0 <= told.time - r.start < DAY for r in walked.truth)
    return True


def _since(samples: Samples, end: int, length: int) -> Float64:
    first, last = np.searchsorted(samples[0], (end - length, end), "left").tolist()
    return samples[1][first:last]


def _air_was_gone(walked: Walked, told: Told) -> bool:
    flow = _since(walked.samples.get(f"gun-{told.gun}/flow", NOTHING), told.time, 3 * SECOND)
    nozzle = _since(walked.samples.get(f"gun-{told.gun}/nozzle", NOTHING), told.time, 20 * MINUTE)
    gone = len(flow) > 0 and bool(flow.min() < AIR_GONE_L_MIN)
    return gone and len(nozzle) > 0 and bool(nozzle.max() > STILL_HOT_C)


def _was_outside(walked: Walked, told: Told) -> bool:
    side = "heat_high" if told.kind == "heat_high_fume" else told.kind
    name, limit, sign = _sides()[side]
    length = round(RANGE_LIMITS[side].on_delay_s * SECOND)
    values = _since(walked.samples.get(f"gun-{told.gun}/{name}", NOTHING), told.time, length)
    return len(values) > 0 and float(np.mean(sign * (values - limit) > 0)) >= 0.5


def _nears_limit(walked: Walked, told: Told) -> bool:
    """Tell whether the drop as the blocks show it had come to 60 % (due) or 90 % of the limit."""
    limit = walked.span.station.air.intake_filter_limit_pa or float("inf")
    before = [b.drop_pa for b in walked.blocks if b.time <= told.time + MINUTE]
    known = [d for d in before if np.isfinite(d)][-12:]
    share = 0.6 if told.kind == "filter_due" else 0.9
    return len(known) > 0 and max(known) >= share * limit


def false_words(walked: Walked) -> list[Told]:
    """Give what was said falsely before the first fault, or anywhere without one."""
    faults = walked.span.faults
    end = min((us(f.start_s) for f in faults), default=walked.end)
    return [t for t in raised(walked) if t.time < end and false_alarm(walked, t)]


def free_months(walked: Walked) -> float:
    """Give how long nothing was wrong, in station-months of four weeks."""
    end = min((us(f.start_s) for f in walked.span.faults), default=walked.end)
    return (min(end, walked.end) - MONDAY) / (28 * DAY)
