"""Draw the README's pictures: `python -m steadybead_simulator.pictures [FOLDER]`."""

import sys
from pathlib import Path

import numpy as np

from steadybead_domain.readings import Float64
from steadybead_domain.times import MINUTE
from steadybead_simulator import svg
from steadybead_simulator.air import Filter
from steadybead_simulator.gas import mean_cp
from steadybead_simulator.month import month
from steadybead_simulator.recording import TUESDAY, record
from steadybead_simulator.thermocouple import ordering_k


def day() -> str:
    """Draw one working day of a station."""
    names = "gun-a/nozzle gun-a/flow gun-a/power gun-b/flow air/filter air/outlet air/supply"
    seen = record(2, names)
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
    seen = record(1, "gun-a/nozzle gun-a/power gun-a/flow")
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
    seen = record(5, "gun-a/nozzle gun-a/flow gun-a/power gun-a/inlet air/outlet air/ambient")
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
