"""A filter's drop since the last change, and what is to come, drawn small.

On the left the time that has passed, on the right the running hours ahead: the fan is the 80 %
interval, and it meets the limit where the filter is full.
"""

from collections.abc import Sequence
from dataclasses import dataclass

WIDTH, HEIGHT = 320.0, 110.0
NOW_X = 150.0
TOP_SHARE = 1.25  # of the limit
_BOTTOM, _RIGHT = 104.0, 312.0
_STEPS = 12


@dataclass(frozen=True, slots=True)
class Forecast:
    """Hours of running left with the bounds of the 80 % interval, and the drop they start from."""

    drop_pa: float
    remaining_h: float
    low_h: float
    high_h: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """Coordinates in a box of WIDTH by HEIGHT; empty where there is nothing to draw."""

    past: str
    dot_x: float
    dot_y: float
    limit_y: float
    fan: str
    middle: str
    low_x: float
    middle_x: float
    high_x: float


def drawing(
    told: Sequence[tuple[int, float]], limit_pa: float, forecast: Forecast | None
) -> Drawing | None:
    """Draw what was told (time in µs, drop in Pa); None where nothing was told."""
    if not told:
        return None
    top = max(TOP_SHARE * limit_pa, 1.05 * max(drop for _, drop in told))
    scale = _Scale(told[0][0], told[-1][0], top)
    past = " ".join(f"{scale.x(time):.1f},{scale.y(drop):.1f}" for time, drop in told)
    fan = middle = ""
    ahead = (NOW_X, NOW_X, NOW_X)
    if forecast is not None and forecast.high_h > 0 and forecast.drop_pa > 0:
        hours = (forecast.low_h, forecast.remaining_h, forecast.high_h)
        low, mid, high = (
            _curve(scale, forecast.drop_pa, limit_pa, h, forecast.high_h) for h in hours
        )
        fan = " ".join(_points([*low, *high[::-1]]))
        middle = " ".join(_points(mid))
        ahead = (low[-1][0], mid[-1][0], high[-1][0])
    return Drawing(
        past if len(told) > 1 else "",
        round(scale.x(told[-1][0]), 1),
        round(scale.y(told[-1][1]), 1),
        round(scale.y(limit_pa), 1),
        fan,
        middle,
        *(round(x, 1) for x in ahead),
    )


@dataclass(frozen=True, slots=True)
class _Scale:
    start: int
    end: int
    top: float

    def x(self, time: int) -> float:
        if self.end == self.start:
            return NOW_X
        return 4.0 + (NOW_X - 4.0) * (time - self.start) / (self.end - self.start)

    def y(self, drop: float) -> float:
        return _BOTTOM - (_BOTTOM - 6.0) * min(max(drop / self.top, 0.0), 1.0)


def _curve(
    scale: _Scale, drop: float, limit: float, hours: float, most: float
) -> list[tuple[float, float]]:
    """Give a curve of constant relative growth that meets the limit after some hours."""
    end = NOW_X + (_RIGHT - NOW_X) * hours / most
    steps = [i / _STEPS for i in range(_STEPS + 1)]
    return [
        (NOW_X + (end - NOW_X) * s, scale.y(drop * (limit / drop) ** s if limit > drop else limit))
        for s in steps
    ]


def _points(places: Sequence[tuple[float, float]]) -> list[str]:
    return [f"{x:.1f},{y:.1f}" for x, y in places]
