"""The growth as a picture: readings a second by stations, questions by the age of the store."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from steadybead_simulator.svg import GREY, LIGHT, SERIES, document, text

WIDTH, LEFT, WIDE, HIGH = 860, 80.0, 540.0, 190.0
_STATIONS = re.compile(r"growth: (\d+) stations: (readings)")
_AGE = re.compile(r"store: (\d+) days old: (.+)")


@dataclass(frozen=True, slots=True)
class Curve:
    """Points of one kind, in the order of what grows."""

    label: str
    points: Sequence[tuple[int, float]]


def picture(figures: Sequence[dict[str, Any]]) -> str:
    """Draw one panel for each kind of growth that was measured."""
    stations, ages = _curves(figures, _STATIONS), _curves(figures, _AGE)
    body, top = "", 50.0
    if stations:
        body += "".join(_panel(stations, top, "Readings a second, durable and judged", "stations"))
        top += HIGH + 80
    if ages:
        what = "Questions to 8 channels at 5 Hz, ms (each line ten times the one below)"
        body += "".join(_panel(ages, top, what, "days in the store", log=True))
        top += HIGH + 80
    return document("How it grows", body, WIDTH, round(top))


def _curves(figures: Sequence[dict[str, Any]], shape: re.Pattern[str]) -> list[Curve]:
    found: dict[str, list[tuple[int, float]]] = {}
    for figure in figures:
        match = shape.fullmatch(figure["name"])
        if match is not None:
            found.setdefault(match[2], []).append((int(match[1]), figure["value"]))
    return [Curve(label, sorted(points)) for label, points in found.items()]


def _panel(
    curves: Sequence[Curve], top: float, title: str, x_label: str, *, log: bool = False
) -> Iterator[str]:
    """Draw curves over evenly spaced sizes; from zero, or by decades."""
    sizes = sorted({size for curve in curves for size, _ in curve.points})
    values = [value for curve in curves for _, value in curve.points]
    marks = _decades(values) if log else _quarters(max(values))
    base = top + HIGH

    def x(size: int) -> float:
        return LEFT + WIDE * sizes.index(size) / max(len(sizes) - 1, 1)

    def y(value: float) -> float:
        low, high, at = marks[0], marks[-1], value
        if log:
            low, high, at = math.log10(low), math.log10(high), math.log10(at)
        return base - HIGH * (at - low) / (high - low)

    yield text(LEFT, top - 10, title)
    for mark in marks:
        yield f'<path d="M{LEFT} {y(mark):.1f}h{WIDE}" stroke="{LIGHT}"/>'
        yield text(LEFT - 8, y(mark) + 4, f"{mark:,g}", anchor="end", fill=GREY)
    for size in sizes:
        yield text(x(size), base + 18, f"{size:,}", anchor="middle", fill=GREY)
    yield text(LEFT + WIDE / 2, base + 36, x_label, anchor="middle", fill=GREY)
    for number, curve in enumerate(curves):
        colour = SERIES[number % len(SERIES)]
        places = [(x(size), y(value)) for size, value in curve.points]
        way = "L".join(f"{a:.1f} {b:.1f}" for a, b in places)
        yield f'<path d="M{way}" fill="none" stroke="{colour}" stroke-width="1.6"/>'
        for a, b in places:
            yield f'<circle cx="{a:.1f}" cy="{b:.1f}" r="3" fill="{colour}"/>'
        yield text(places[-1][0] + 10, places[-1][1] + 4, curve.label, size=11, fill=colour)


def _decades(values: Sequence[float]) -> list[float]:
    low, high = math.floor(math.log10(min(values))), math.ceil(math.log10(max(values)))
    return [10.0**power for power in range(low, max(high, low + 1) + 1)]


def _quarters(most: float) -> list[float]:
    step = 10.0 ** math.floor(math.log10(most))
    high = step * math.ceil(most / step)
    return [high * part / 4 for part in range(5)]
