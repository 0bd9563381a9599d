"""Drawings of a report, as vectors: a quantity over time, and the seam to scale."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from steadybead_api.evidence.sheet import LEFT, LINE, SOFT, WIDTH, Sheet
from steadybead_domain.readings import Buckets, Float64
from steadybead_domain.times import HOUR, MINUTE, SECOND
from steadybead_domain.verdict.model import Judgement, SeamMap, SeamStretch

HEIGHT: Final = 46.0
GUTTER: Final = 14.0
_WINDOW: Final = (224, 236, 229)
_BAND: Final = (205, 212, 226)
_CURVE: Final = (28, 62, 122)
_OUT: Final = (176, 64, 20)
_STEPS: Final = (15, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400, 43200, 86400)
Point = tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """Where a plot stands on the page, and what its axes span."""

    top: float
    start: int
    end: int
    low: float
    high: float

    def x(self, time: float) -> float:
        """Give the place of a time in mm."""
        span = max(self.end - self.start, 1)
        return LEFT + GUTTER + (WIDTH - GUTTER) * min(max((time - self.start) / span, 0.0), 1.0)

    def y(self, value: float) -> float:
        """Give the place of a value in mm."""
        share = (value - self.low) / (self.high - self.low)
        return self.top + HEIGHT * (1.0 - min(max(share, 0.0), 1.0))


def draw_quantity(
    sheet: Sheet,
    judgement: Judgement,
    buckets: Buckets,
    record: tuple[int, int],
    clock: Callable[[int], str],
) -> None:
    """Draw mean and U over time against the window; excursions are bars beneath."""
    values = buckets.mean + judgement.correction
    low, high = _range(judgement, values)
    frame = Frame(sheet.get_y() + 1.0, int(buckets.start[0]), int(buckets.end[-1]), low, high)
    expanded = 0.0 if judgement.guarded is None else judgement.guarded.expanded
    _window(sheet, judgement, frame)
    middle = (buckets.start + buckets.end) // 2
    for rows in _stretches(buckets):
        points = [(frame.x(float(middle[i])), float(values[i])) for i in rows]
        _band(sheet, points, frame, expanded)
        _line(sheet, [(x, frame.y(v)) for x, v in points])
    _limits(sheet, judgement, frame)
    _axes(sheet, frame, record, clock, judgement.unit)
    _excursions(sheet, judgement, frame)
    sheet.set_xy(LEFT, frame.top + HEIGHT + 10.0)


def draw_seam(sheet: Sheet, seam: SeamMap) -> None:
    """Draw beads as bars to scale, excursions on them with their ±."""
    shown = range(1, min(seam.beads, 12) + 1)
    top = sheet.get_y() + 4.0
    scale = (WIDTH - GUTTER) / seam.length_mm
    for bead in shown:
        y = top + 7.0 * (bead - 1)
        sheet.set_fill_color(*LINE)
        sheet.rect(LEFT + GUTTER, y, WIDTH - GUTTER, 2.4, style="F")
        sheet.ink(SOFT, 7.5)
        sheet.set_xy(LEFT, y - 0.8)
        sheet.cell(GUTTER, 4.0, f"bead {bead}")
        for piece in (s for s in seam.stretches if s.bead == bead):
            _piece(sheet, piece, y, scale, seam.length_mm)
    bottom = top + 7.0 * len(shown) - 2.0
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        sheet.ink(SOFT, 7.5)
        align, back = {0.0: ("L", 0.0), 1.0: ("R", 20.0)}.get(share, ("C", 10.0))
        sheet.set_xy(LEFT + GUTTER + (WIDTH - GUTTER) * share - back, bottom)
        sheet.cell(20.0, 4.0, f"{seam.length_mm * share:.0f} mm", align=align)
    sheet.set_xy(LEFT, bottom + 6.0)


def _piece(sheet: Sheet, piece: SeamStretch, y: float, scale: float, length: float) -> None:
    def x(mm: float) -> float:
        return LEFT + GUTTER + min(max(mm, 0.0), length) * scale

    sheet.set_draw_color(*_OUT)
    sheet.set_line_width(0.25)
    begin, end = piece.start_mm - piece.start_give_mm, piece.end_mm + piece.end_give_mm
    sheet.line(x(begin), y + 1.2, x(end), y + 1.2)
    for mm in (begin, end):
        sheet.line(x(mm), y + 0.2, x(mm), y + 2.2)
    sheet.set_fill_color(*_OUT)
    sheet.rect(x(piece.start_mm), y, max(x(piece.end_mm) - x(piece.start_mm), 0.5), 2.4, style="F")
    sheet.ink(_OUT, 7.0, "B")
    sheet.set_xy(x((piece.start_mm + piece.end_mm) / 2) - 4.0, y - 3.6)
    sheet.cell(8.0, 3.4, str(piece.excursion + 1), align="C")


def _range(judgement: Judgement, values: Float64) -> Point:
    """Span the values and the window; far values do not press the window flat."""
    limits = judgement.guarded
    known = [v for v in values.tolist() if math.isfinite(v)]
    if limits is not None:
        known += [
            v
            for v in (limits.reject_low, limits.reject_high, limits.low, limits.high)
            if v is not None
        ]
    low, high = (min(known), max(known)) if known else (0.0, 1.0)
    room = max((high - low) * 0.06, 0.5)
    return low - room, high + room


def _stretches(buckets: Buckets) -> list[list[int]]:
    """Cut where buckets are missing or have no value: a gap is never drawn over."""
    groups: list[list[int]] = []
    for i in np.flatnonzero(buckets.n > 0).tolist():
        if groups and buckets.start[i] == buckets.end[groups[-1][-1]]:
            groups[-1].append(i)
        else:
            groups.append([i])
    return groups


def _window(sheet: Sheet, judgement: Judgement, frame: Frame) -> None:
    limits = judgement.guarded
    if limits is None:
        return
    top = frame.y(frame.high if limits.high is None else limits.high)
    bottom = frame.y(frame.low if limits.low is None else limits.low)
    sheet.set_fill_color(*_WINDOW)
    sheet.rect(LEFT + GUTTER, top, WIDTH - GUTTER, bottom - top, style="F")


def _band(sheet: Sheet, points: Sequence[Point], frame: Frame, expanded: float) -> None:
    if len(points) < 2 or expanded <= 0.0:
        return
    above = [(x, frame.y(v + expanded)) for x, v in points]
    below = [(x, frame.y(v - expanded)) for x, v in reversed(points)]
    sheet.set_fill_color(*_BAND)
    sheet.polygon([*above, *below], style="F")


def _line(sheet: Sheet, points: Sequence[Point]) -> None:
    sheet.set_draw_color(*_CURVE)
    sheet.set_line_width(0.25)
    if len(points) == 1:
        x, y = points[0]
        sheet.line(x - 0.2, y, x + 0.2, y)
    else:
        sheet.polyline(list(points))


def _limits(sheet: Sheet, judgement: Judgement, frame: Frame) -> None:
    """Draw the window's limits, and dashed the acceptance interval inside them."""
    limits = judgement.guarded
    if limits is None:
        return
    right = LEFT + WIDTH
    sheet.set_draw_color(70, 110, 86)
    sheet.set_line_width(0.3)
    for value in (limits.low, limits.high):
        if value is not None:
            sheet.line(LEFT + GUTTER, frame.y(value), right, frame.y(value))
    sheet.set_line_width(0.2)
    for value in (limits.accept_low, limits.accept_high):
        if value is not None:
            y = frame.y(value)
            sheet.set_dash_pattern(dash=1.2, gap=1.0)
            sheet.line(LEFT + GUTTER, y, right, y)
            sheet.set_dash_pattern()


def _axes(
    sheet: Sheet, frame: Frame, record: tuple[int, int], clock: Callable[[int], str], unit: str
) -> None:
    sheet.set_draw_color(*SOFT)
    sheet.set_line_width(0.2)
    sheet.rect(LEFT + GUTTER, frame.top, WIDTH - GUTTER, HEIGHT)
    for time in record:
        sheet.line(frame.x(time), frame.top, frame.x(time), frame.top + HEIGHT)
    sheet.ink(SOFT, 7.0)
    for value in _ticks(frame.low, frame.high):
        sheet.set_xy(LEFT, frame.y(value) - 1.6)
        sheet.cell(GUTTER - 1.0, 3.2, f"{value:g}", align="R")
    sheet.set_xy(LEFT, frame.top - 3.6)
    sheet.cell(GUTTER - 1.0, 3.2, sheet.fit({"Cel": "°C"}.get(unit, unit)), align="R")
    step = next((s for s in _STEPS if (frame.end - frame.start) / SECOND / s <= 8), 86_400)
    first = -(-frame.start // (step * SECOND)) * step * SECOND
    for time in range(first, frame.end, step * SECOND):
        if frame.x(time) > LEFT + WIDTH - 6.0:
            break
        sheet.line(frame.x(time), frame.top + HEIGHT, frame.x(time), frame.top + HEIGHT + 0.8)
        sheet.set_xy(frame.x(time) - 8.0, frame.top + HEIGHT + 4.0)
        sheet.cell(16.0, 3.2, clock(time), align="C")


def _ticks(low: float, high: float) -> list[float]:
    rough = (high - low) / 5.0
    scale = 10.0 ** math.floor(math.log10(rough))
    step = next(scale * m for m in (1.0, 2.0, 5.0, 10.0) if scale * m >= rough)
    first = math.ceil(low / step)
    return [round(i * step, 9) for i in range(first, math.floor(high / step) + 1)]


def _excursions(sheet: Sheet, judgement: Judgement, frame: Frame) -> None:
    sheet.set_fill_color(*_OUT)
    for excursion in judgement.excursions:
        left, right = frame.x(excursion.start), frame.x(excursion.end)
        style = "F" if excursion.beyond_doubt else "D"
        sheet.set_draw_color(*_OUT)
        sheet.rect(left, frame.top + HEIGHT + 1.2, max(right - left, 0.4), 1.8, style=style)


def clock_words(span_us: int) -> str:
    """Give the format of times on an axis."""
    if span_us > 36 * HOUR:
        return "%d.%m. %H:%M"
    return "%H:%M" if span_us > 20 * MINUTE else "%H:%M:%S"
