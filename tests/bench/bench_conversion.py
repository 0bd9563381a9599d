"""What conversion costs, beside one plain polynomial in the same run, and how exact it is."""

import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from steadybead_domain.conversion.nist175 import REFERENCE_FUNCTIONS
from steadybead_domain.conversion.specs import CurrentLoop, PulseCounter, Thermocouple
from steadybead_domain.conversion.station import StationConverter, WireColumns
from steadybead_domain.conversion.thermocouple import (
    TYPES,
    emf_mv,
    hot_junction_c,
    temperature_c,
    temperature_range_c,
)
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.plant import Channel, Station
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Float64

SEED = 7


def main(short: bool) -> list[dict[str, Any]]:
    """Run all; `short` only shows that everything works: its times have no goal."""
    n = 100_000 if short else 1_000_000
    cost = thermocouple_cost(n)
    if short:
        cost = [line | {"goal": None, "met": None} for line in cost]
    return [*cost, *thermocouple_error(), *station_cost(n // 1000)]


def thermocouple_cost(n: int) -> list[dict[str, Any]]:
    """Time n readings of type K with cold junction against one polynomial of its degree."""
    draw = np.random.default_rng(SEED)
    mv, cold_c = draw.uniform(-1.0, 25.0, n), draw.uniform(15.0, 40.0, n)
    pieces = REFERENCE_FUNCTIONS["K"].inverse
    coefficients = max((piece.coefficients for piece in pieces), key=len)
    hot_junction_c("K", mv[:9], cold_c[:9])
    convert_s, plain_s = alternately(
        lambda: hot_junction_c("K", mv, cold_c), lambda: plain_polynomial(coefficients, mv)
    )
    degree = len(coefficients) - 1
    return [
        figure(f"conversion: {n} readings, type K, cold junction and all", 1e3 * convert_s, "ms"),
        figure(f"conversion: one plain polynomial of degree {degree}", 1e3 * plain_s, "ms"),
        figure("conversion: the first over the second", convert_s / plain_s, "", goal=3.0),
    ]


def thermocouple_error() -> list[dict[str, Any]]:
    """Go from °C to mV by the reference function and back by the table, over each whole range."""
    figures = []
    for letter in TYPES:
        low_c, high_c = temperature_range_c(letter)
        function = REFERENCE_FUNCTIONS[letter]
        ends_c = max(low_c, function.forward[0].low), min(high_c, function.forward[-1].high)
        t_c = np.linspace(*ends_c, 200_001)[1:-1]
        error_c = float(np.abs(temperature_c(letter, emf_mv(letter, t_c)) - t_c).max())
        name = f"conversion: largest difference to the reference function, type {letter}"
        figures.append(figure(name, 1e3 * error_c, "mK", goal=0.05))
    return figures


def station_cost(batches: int) -> list[dict[str, Any]]:
    """Time one converter of 400 channels on batches of three readings each."""
    converter = StationConverter(large_station(), 1)
    rounds = [batch(k) for k in range(20 + batches // 10)]
    seconds = [timed(partial(converter.convert, some)) for some in rounds]
    median_ms = 1e3 * float(np.median(seconds))
    return [
        figure("conversion: a batch of 400 channels with 3 readings each", median_ms, "ms"),
        figure("conversion: readings a second in such batches", 1200 / median_ms * 1e3, "1/s"),
    ]


def large_station() -> Station:
    """Make 100 guns of four channels each."""
    channels = []
    for gun in range(100):
        how = Thermocouple("K", f"gun-{gun}/terminal")
        channels += [
            channel(gun, "nozzle", Quantity.NOZZLE_TEMPERATURE, "mV", how),
            channel(gun, "terminal", Quantity.TERMINAL_TEMPERATURE, "Cel"),
            channel(gun, "flow", Quantity.AIR_FLOW, "mA", CurrentLoop(0.0, 100.0, "L/min")),
            channel(gun, "pulses", Quantity.AIR_FLOW, "count", PulseCounter(0.01)),
        ]
    return Station(StationId("bench", "bay"), tuple(channels))


def channel(gun: int, what: str, quantity: Quantity, unit: str, how: Any = None) -> Channel:
    """Name one channel of a gun."""
    return Channel(ChannelId("bench", "bay", f"gun-{gun}/{what}"), quantity, unit, how)


def batch(number: int) -> dict[str, WireColumns]:
    """Lay out three packs, each with all channels."""
    time_us = np.arange(3 * number, 3 * number + 3, dtype=np.int64) * 100_000
    good, pack = np.zeros(3, np.uint8), np.arange(3, dtype=np.int64)
    wires: dict[str, Float64] = {
        "nozzle": np.full(3, 12.874239),
        "terminal": np.full(3, 25.0),
        "flow": np.full(3, 12.0),
        "pulses": np.array(time_us * 8e-5, np.float64),
    }
    return {
        f"gun-{gun}/{what}": WireColumns(time_us, wire, good, good, pack)
        for gun in range(100)
        for what, wire in wires.items()
    }


def plain_polynomial(coefficients: tuple[float, ...], x: Float64) -> Float64:
    """Evaluate by Horner's rule in place, as fast as numpy goes without tricks."""
    result = np.full(x.shape, coefficients[-1])
    for c in reversed(coefficients[:-1]):
        result *= x
        result += c
    return result


def alternately(one: Callable[[], object], other: Callable[[], object]) -> tuple[float, float]:
    """Take the median of nine runs of each, in turn, so that both see the same machine."""
    pairs = [(timed(one), timed(other)) for _ in range(9)]
    first, second = np.median(np.array(pairs), axis=0).tolist()
    return first, second


def timed(run: Callable[[], object]) -> float:
    """Give the seconds of one run."""
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def figure(name: str, value: float, unit: str, goal: float | None = None) -> dict[str, Any]:
    """Make one line of the report; `goal` is the largest value that is meant."""
    met = None if goal is None else value <= goal
    return {"name": name, "value": value, "unit": unit, "goal": goal, "met": met}


if __name__ == "__main__":
    for line in main(short=False):
        print(line)  # noqa: T201
