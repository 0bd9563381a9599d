"""A month of one station at a glance, as a picture."""

import itertools
from collections.abc import Iterator

import numpy as np

from steadybead_domain.times import DAY, HOUR
from steadybead_simulator import svg
from steadybead_simulator.recording import MONDAY, Recorded, record
from steadybead_simulator.spans import Mask
from steadybead_simulator.truth import Truth

_STATES = (("node off", "#ffffff"), ("cold", "#e4e8ec"), ("cooling", "#a9c4de"),
           ("hot", "#e0b878"), ("rod laid", "#7a4a00"))  # fmt: skip


def month() -> str:
    """Draw a month of one station: every day a row, and its filter and power beside."""
    days = 28
    seen = record(days, "gun-a/nozzle gun-a/power gun-a/stand air/filter gun-a/flow gun-b/flow")
    body, top, step = [], 66.0, 15.0
    left, width = 74.0, 430.0
    for i, (label, colour) in enumerate(_STATES[1:]):
        body.append(svg.rectangle(left + 105 * i, 36, (12, 12), colour))
        body.append(svg.text(left + 105 * i + 18, 46, label, size=11))
    drop: list[float] = []
    power: list[float] = []
    for d in range(days):
        start = MONDAY + d * DAY
        mine = (seen.time >= start) & (seen.time < start + DAY)
        y = top + step * d
        body.append(svg.text(left - 6, y + 11, f"day {d + 1}", size=11, anchor="end"))
        body += _row(seen, mine, start, (left, y, width))
        drop.append(_median(seen, "air/filter", mine))
        power.append(_median(seen, "gun-a/power", mine))
    bottom = top + step * days
    for hour in range(6, 19, 2):
        x = left + (hour - 6) / 12 * width
        body.append(svg.text(x, bottom + 16, f"{hour}:00", size=11, anchor="middle"))
    body += _side("filter drop at 100 L/min, Pa", drop, (520.0, top, step), 500.0)
    body += _side("power when hot, W", power, (760.0, top, step), 900.0)
    body += _marks(seen.truth, top, step)
    title = "A simulated month of one station, gun a (seen from its channels; UTC)"
    return svg.document(title, "".join(body), 880, round(bottom + 40))


def _row(
    seen: Recorded, mine: Mask, start: int,
    place: tuple[float, float, float],
) -> Iterator[str]:  # fmt: skip
    """Draw one day: stretches of equal state."""
    left, y, width = place
    if not mine.any():
        return
    hours = (seen.time[mine] - start)[::20] / HOUR
    v = {n: c[mine][::20] for n, c in seen.value.items()}
    state = np.full(len(hours), 1)
    state[(v["gun-a/flow"] > 10.0) & (v["gun-a/nozzle"] > 60.0)] = 2
    state[v["gun-a/power"] > 40.0] = 3
    state[(v["gun-a/power"] > 40.0) & (v["gun-a/stand"] < 0.5)] = 4
    edges = np.concatenate(([0], np.flatnonzero(np.diff(state)) + 1, [len(state)]))
    for first, last in itertools.pairwise(edges):
        x = left + (hours[first] - 6.0) / 12.0 * width
        wide = (hours[last - 1] - hours[first]) / 12.0 * width
        yield svg.rectangle(x, y + 1, (wide, 12.0), _STATES[state[first]][1])


def _median(seen: Recorded, name: str, mine: Mask) -> float:
    """Give the day's median with gun a hot; the filter's drop scaled to 100 L/min of air."""
    hot = mine & (seen.value["gun-a/power"] > 150.0)
    if hot.sum() < 600:
        return float("nan")
    value = seen.value[name][hot]
    if name == "air/filter":
        value = value * 100.0 / (seen.value["gun-a/flow"] + seen.value["gun-b/flow"])[hot]
    return float(np.median(value))


def _side(
    title: str, values: list[float], place: tuple[float, float, float], full: float
) -> Iterator[str]:
    left, top, step = place
    yield svg.text(left, 46, title, size=11)
    for d, value in enumerate(values):
        if np.isfinite(value):
            y = top + step * d
            yield svg.rectangle(left, y + 3, (110.0 * value / full, 8.0), "#8c959f")
            yield svg.text(left + 114.0 * value / full + 4, y + 11, f"{value:.0f}", size=10)


def _marks(truth: list[Truth], top: float, step: float) -> Iterator[str]:
    for row in truth:
        if row.kind in {"filter_changed", "filter_tapped_out"}:
            y = top + step * ((row.start - MONDAY) // DAY)
            told = "told" if row.recorded else "told nobody"
            word = "changed" if row.kind == "filter_changed" else "tapped out"
            yield svg.text(628.0, y + 11, f"{word}, {told}", size=10, fill=svg.GREY)
