"""Draw the README's pictures: `python -m steadybead_simulator.pictures [FOLDER]`."""

import itertools
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np

from steadybead_domain.ids import ChannelId
from steadybead_domain.readings import Columns, Float64
from steadybead_domain.times import DAY, HOUR, MINUTE, parse_rfc3339
from steadybead_simulator import svg
from steadybead_simulator.air import Filter
from steadybead_simulator.gas import mean_cp
from steadybead_simulator.history import HistoryBlock, history
from steadybead_simulator.plants import plant_of
from steadybead_simulator.scenario import Scenario, Setup, Welder
from steadybead_simulator.thermocouple import ordering_k
from steadybead_simulator.truth import Truth

MONDAY = parse_rfc3339("2026-03-02T00:00:00Z")
TUESDAY = MONDAY + DAY
SEED = 7
WELDERS = (Welder("w-1"), Welder("w-2", pace=1.2, warm_up_s=420.0, changes_filter_at_pa=420.0))
SCENARIO = Scenario(
    welders=WELDERS, setups=(Setup("*", control="own", filter_drop_pa=150.0),), title="README"
)


class Recorded:
    """Some channels of a history joined into one, with its truth."""

    def __init__(self, blocks: Iterator[HistoryBlock], wanted: Mapping[str, ChannelId]) -> None:
        parts: dict[str, list[Columns]] = {name: [] for name in wanted}
        self.truth: list[Truth] = []
        for block in blocks:
            self.truth += block.truth
            for name, channel in wanted.items():
                if channel in block.columns:
                    parts[name].append(block.columns[channel])
        joined = {name: Columns.concat(p) for name, p in parts.items()}
        self.time = next(iter(joined.values())).time
        self.value: dict[str, Float64] = {name: c.value for name, c in joined.items()}

    def hours(self, start: int) -> Float64:
        """Give the time in hours since `start`."""
        return (self.time - start) / HOUR


def _record(days: int, names: str) -> Recorded:
    plant = plant_of(1, level="full")
    wanted = {n: ChannelId("north", "bay-1", n) for n in names.split()}
    return Recorded(history(plant, SCENARIO, SEED, MONDAY, MONDAY + days * DAY), wanted)


def day() -> str:
    """Draw one working day of a station."""
    names = "gun-a/nozzle gun-a/flow gun-a/power gun-b/flow air/filter air/outlet air/supply"
    seen = _record(2, names)
    second = seen.time >= TUESDAY
    x = seen.hours(TUESDAY)[second]
    v = {name: value[second] for name, value in seen.value.items()}
    window = [(300.0, 340.0, "window of a PP speed nozzle, 300–340 °C")]
    flow = [svg.Line(x, v["gun-a/flow"], "gun a"), svg.Line(x, v["gun-b/flow"], "gun b")]
    panels = [
        svg.Panel(
            "Nozzle temperature, gun a, °C",
            [svg.Line(x, v["gun-a/nozzle"])],
            bands=window,
            low=0.0,
            high=390.0,
        ),
        svg.Panel("Air flow, L/min (actual)", flow),
        svg.Panel("Heater power, gun a, W", [svg.Line(x, v["gun-a/power"])], height=100),
        svg.Panel("Filter pressure drop, Pa", [svg.Line(x, v["air/filter"])], height=100),
        svg.Panel("Outlet pressure, Pa", [svg.Line(x, v["air/outlet"])], height=100),
        svg.Panel(
            "Supply voltage, V",
            [svg.Line(x, v["air/supply"])],
            "hour of the day, UTC",
            height=100,
        ),
    ]
    return svg.sheet("A simulated working day of one blower with two guns", panels)


def warm_up() -> str:
    """Draw the first quarter of an hour of a day, and a minute of noise."""
    seen = _record(1, "gun-a/nozzle gun-a/power gun-a/flow")
    hot = int(np.argmax(seen.value["gun-a/power"] > 50.0))
    start = int(seen.time[hot])
    minutes = (seen.time - start) / MINUTE
    early = (minutes > -3.0) & (minutes < 17.0)
    still = (minutes > 12.0) & (minutes < 14.0)
    nozzle, power = seen.value["gun-a/nozzle"], seen.value["gun-a/power"]
    panels = [
        svg.Panel(
            "Nozzle temperature, °C",
            [svg.Line(minutes[early], nozzle[early])],
            bands=[(300.0, 340.0, "300–340 °C")],
            low=0.0,
            high=390.0,
        ),
        svg.Panel(
            "Heater power, W", [svg.Line(minutes[early], power[early])], "min since switch-on"
        ),
        svg.Panel(
            "Two minutes of the same reading, warmed through, °C",
            [svg.Line(minutes[still], nozzle[still])],
            "min since switch-on",
        ),
    ]
    return svg.sheet("Warm-up and noise", panels)


def balance() -> str:
    """Draw power against the heat in the gas, in steady state, beside the handbook's line."""
    seen = _record(5, "gun-a/nozzle gun-a/flow gun-a/power gun-a/inlet air/outlet air/ambient")
    v = {name: _minutes(value) for name, value in seen.value.items()}
    spread = seen.value["gun-a/nozzle"]
    quiet = np.ptp(spread[: len(spread) // 60 * 60].reshape(-1, 60), axis=1) < 4.0
    quiet &= (v["gun-a/nozzle"] > 250.0) & (v["gun-a/power"] > 100.0)
    kelvin = v["gun-a/inlet"] + 273.15
    density = (v["air/ambient"] + v["air/outlet"]) / (287.055 * kelvin)
    mass = v["gun-a/flow"] / 60_000.0 * density
    cp = mean_cp(v["gun-a/inlet"], v["gun-a/nozzle"])
    gas = (mass * cp * (v["gun-a/nozzle"] - v["gun-a/inlet"]))[quiet]
    power = v["gun-a/power"][quiet]
    every = slice(None, None, max(1, len(gas) // 400))
    line = np.array([gas.min(), gas.max()])
    lines = [
        svg.Line(gas[every], power[every], "a quiet minute", dots=True),
        svg.Line(line, line, "no loss at all: P = m·cp·dT", dashed=True),
    ]
    panel = svg.Panel("Heater power, W", lines, "heat in the gas, W", height=260)
    return svg.sheet("Energy balance in steady state", [panel])


def _minutes(value: Float64) -> Float64:
    """Average by the minute."""
    means: Float64 = value[: len(value) // 60 * 60].reshape(-1, 60).mean(axis=1)
    return means


def filters() -> str:
    """Draw how the three kinds of dust load a filter."""
    grams = np.linspace(0.0, 3.0, 200)
    laws = [
        svg.Line(grams, Filter(kind=kind).drop_pa(grams), kind)
        for kind in ("cake", "depth", "mixed")
    ]
    panel = svg.Panel(
        "Drop at 100 L/min, Pa", laws, "dust in the filter, g", high=600.0, low=0.0, height=260,
        bands=[(250.0, 250.8, "250 Pa: final drop of a coarse filter, EN 779:2012")],
    )  # fmt: skip
    return svg.sheet("Filter loading: cake is linear, depth exponential", [panel])


def ordering() -> str:
    """Draw the ordering of new type K beside the published points."""
    hours = np.geomspace(1 / 60, 60.0, 200)
    law = np.array([ordering_k(60.0 * h) for h in hours])
    points = svg.Line(
        np.array([5 / 60, 45 / 60, 7.0]), np.array([0.9, 1.9, 3.7]), "published", dots=True
    )
    panel = svg.Panel(
        "Reads high at 350 °C, K", [svg.Line(hours, law, "simulated"), points],
        "hours at 350 °C", low=0.0, high=6.5, height=220,
        bands=[(5.95, 5.99, "1.7 % of 350 °C, the most that was seen")],
    )  # fmt: skip
    return svg.sheet("Short-range ordering of a new type K thermocouple", [panel])


_STATES = (("node off", "#ffffff"), ("cold", "#e4e8ec"), ("cooling", "#a9c4de"),
           ("hot", "#e0b878"), ("rod laid", "#7a4a00"))  # fmt: skip


def month() -> str:
    """Draw a month of one station: every day a row, and its filter and power beside."""
    days = 28
    seen = _record(days, "gun-a/nozzle gun-a/power gun-a/stand air/filter gun-a/flow gun-b/flow")
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
    seen: Recorded, mine: np.ndarray[tuple[int], np.dtype[np.bool_]], start: int,
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


def _median(seen: Recorded, name: str, mine: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> float:
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


PICTURES = {
    "day": day, "warm_up": warm_up, "balance": balance, "filters": filters,
    "ordering": ordering, "month": month,
}  # fmt: skip


def main(arguments: list[str]) -> int:
    """Write all pictures into a folder."""
    folder = Path(arguments[0]) if arguments else Path("simulator/pictures")
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in PICTURES.items():
        (folder / f"{name}.svg").write_text(draw(), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
