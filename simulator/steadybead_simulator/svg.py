"""Plain SVG charts for the README, without a plotting library."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np

from steadybead_domain.readings import Float64

INK, GREY, LIGHT = "#24292f", "#6e7781", "#d8dee4"
SERIES = ("#0b5cad", "#b35900", "#2b7a3d", "#7a3e9d")  # told apart by order and label, too
LEFT, RIGHT, TOP, GAP = 74, 16, 40, 34


@dataclass(slots=True)
class Line:
    """One curve: x, y float64 [n], NaN breaks it; `dots` draws points instead."""

    x: Float64
    y: Float64
    label: str = ""
    dots: bool = False
    dashed: bool = False


@dataclass(slots=True)
class Panel:
    """One chart with a title that carries the unit, curves, shaded bands and notes."""

    title: str
    lines: list[Line]
    x_label: str = ""
    low: float | None = None
    high: float | None = None
    bands: list[tuple[float, float, str]] = field(default_factory=list)
    height: int = 130


@dataclass(frozen=True, slots=True)
class Frame:
    """A panel's place on the sheet and its scales."""

    top: float
    width: float
    height: float
    x0: float
    x1: float
    y0: float
    y1: float

    def x(self, value: float) -> float:
        """Give the sheet's x."""
        return LEFT + (value - self.x0) / (self.x1 - self.x0) * self.width

    def y(self, value: float) -> float:
        """Give the sheet's y."""
        return self.top + self.height * (1 - (value - self.y0) / (self.y1 - self.y0))


def sheet(title: str, panels: Sequence[Panel], width: int = 860) -> str:
    """Draw panels one under another."""
    parts, top = [], float(TOP)
    for panel in panels:
        frame = _frame(panel, top + 18, width - LEFT - RIGHT)
        parts.append(_panel(panel, frame))
        top += 18 + panel.height + GAP + (14 if panel.x_label else 0)
    return document(title, "".join(parts), width, round(top))


def document(title: str, body: str, width: int, height: int) -> str:
    """Wrap a drawing with a title into an SVG document."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" font-family="sans-serif" font-size="12" role="img">'
        f"<title>{escape(title)}</title>"
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>'
        + text(LEFT, 22, title, size=15)
        + body
        + "</svg>\n"
    )


def text(
    x: float, y: float, words: str, *, size: int = 12, anchor: str = "start", fill: str = INK
) -> str:
    """Write words."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" '
        f'fill="{fill}">{escape(words)}</text>'
    )


def rectangle(x: float, y: float, size: tuple[float, float], fill: str) -> str:
    """Draw a filled rectangle of `size` (width, height)."""
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(size[0], 0.4):.1f}" '
        f'height="{size[1]:.1f}" fill="{fill}"/>'
    )


def ticks(low: float, high: float, about: int = 4) -> list[float]:
    """Choose round values between two limits."""
    step = 10.0 ** np.floor(np.log10((high - low) / about))
    for times in (1, 2, 5, 10):
        if (high - low) / (step * times) <= about:
            step *= times
            break
    first = np.ceil(low / step - 1e-9) * step
    return [round(float(v), 9) + 0.0 for v in np.arange(first, high + step * 1e-6, step)]


def _frame(panel: Panel, top: float, width: float) -> Frame:
    xs = np.concatenate([line.x for line in panel.lines])
    ys = np.concatenate([line.y for line in panel.lines])
    low = float(np.nanmin(ys)) if panel.low is None else panel.low
    high = float(np.nanmax(ys)) if panel.high is None else panel.high
    pad = 0.06 * (high - low or 1.0)
    low = low - pad if panel.low is None else low
    high = high + pad if panel.high is None else high
    return Frame(top, width, panel.height, float(xs.min()), float(xs.max()), low, high)


def _panel(panel: Panel, frame: Frame) -> str:
    parts = [text(LEFT, frame.top - 6, panel.title)]
    for low, high, label in panel.bands:
        top = frame.y(min(high, frame.y1))
        bottom = frame.y(max(low, frame.y0))
        parts.append(rectangle(LEFT, top, (frame.width, bottom - top), "#eaeef2"))
        parts.append(text(LEFT + frame.width - 4, top - 4, label, size=11, anchor="end", fill=GREY))
    parts.append(_axes(frame, panel.x_label))
    for i, line in enumerate(panel.lines):
        parts.append(_curve(line, frame, SERIES[i % len(SERIES)]))
    named = [(i, line) for i, line in enumerate(panel.lines) if line.label]
    x = LEFT + frame.width
    for i, line in reversed(named):
        parts.append(text(x, frame.top - 6, line.label, anchor="end", fill=SERIES[i % 4]))
        x -= 7.0 * len(line.label) + 14
    return "".join(parts)


def _axes(frame: Frame, x_label: str) -> str:
    parts = []
    bottom = frame.top + frame.height
    for value in ticks(frame.y0, frame.y1):
        y = frame.y(value)
        parts.append(f'<path d="M{LEFT} {y:.1f}h{frame.width:.1f}" stroke="{LIGHT}"/>')
        parts.append(text(LEFT - 6, y + 4, f"{value:g}", anchor="end", fill=GREY))
    for value in ticks(frame.x0, frame.x1, 10):
        x = frame.x(value)
        parts.append(f'<path d="M{x:.1f} {bottom:.1f}v4" stroke="{GREY}"/>')
        parts.append(text(x, bottom + 16, f"{value:g}", anchor="middle", fill=GREY))
    parts.append(f'<path d="M{LEFT} {bottom:.1f}h{frame.width:.1f}" stroke="{GREY}"/>')
    if x_label:
        middle = LEFT + frame.width / 2
        parts.append(text(middle, bottom + 31, x_label, anchor="middle", fill=GREY))
    return "".join(parts)


def _curve(line: Line, frame: Frame, colour: str) -> str:
    x, y = _thinned(line, frame.width)
    y = np.clip(y, frame.y0, frame.y1)
    if line.dots:
        dots = (
            f'<circle cx="{frame.x(a):.1f}" cy="{frame.y(b):.1f}" r="2.6" fill="{colour}" '
            'fill-opacity="0.75"/>'
            for a, b in zip(x, y, strict=True)
            if np.isfinite(b)
        )
        return "".join(dots)
    parts, pen = [], "M"
    for a, b in zip(x, y, strict=True):
        if not np.isfinite(b):
            pen = "M"
            continue
        parts.append(f"{pen}{frame.x(a):.1f} {frame.y(b):.1f}")
        pen = "L"
    dash = ' stroke-dasharray="5 4"' if line.dashed else ""
    return f'<path d="{"".join(parts)}" fill="none" stroke="{colour}" stroke-width="1.2"{dash}/>'


def _thinned(line: Line, width: float) -> tuple[Float64, Float64]:
    """Keep lowest and highest of each half pixel, so that spikes stay."""
    most = int(width * 0.7)
    if line.dots or len(line.x) <= 2 * most:
        return line.x, line.y
    size = len(line.x) // most + 1
    keep: list[int] = []
    for first in range(0, len(line.x), size):
        part = line.y[first : first + size]
        if np.isfinite(part).any():
            keep += sorted({first + int(np.nanargmin(part)), first + int(np.nanargmax(part))})
        else:
            keep.append(first)
    return line.x[keep], line.y[keep]
