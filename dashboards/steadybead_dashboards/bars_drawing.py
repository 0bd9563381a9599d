"""Alarms over time as stacked bars, drawn small: one bar for each part of a stretch."""

from collections.abc import Sequence
from dataclasses import dataclass

from steadybead_domain.alarms.model import AlarmFact, Priority

WIDTH, HEIGHT = 720.0, 180.0
LEFT, BOTTOM, TOP = 36.0, 150.0, 10.0
_ORDER = (Priority.HIGH, Priority.MEDIUM, Priority.LOW)
_LEAST_TOP = 4


@dataclass(frozen=True, slots=True)
class Block:
    """One priority's share of a bar."""

    priority: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Bars:
    """Coordinates in a box of WIDTH by HEIGHT; `lines` are (y, number) of the scale."""

    blocks: tuple[Block, ...]
    lines: tuple[tuple[float, int], ...]
    most: int


def bars(raised: Sequence[AlarmFact], start: int, end: int, parts: int) -> Bars:
    """Draw how many alarms were raised in each of `parts` equal parts of [start, end)."""
    counts = [dict.fromkeys(_ORDER, 0) for _ in range(parts)]
    for fact in raised:
        place = (fact.time - start) * parts // (end - start)
        counts[min(max(place, 0), parts - 1)][fact.priority] += 1
    most = max((sum(c.values()) for c in counts), default=0)
    top = _round_up(max(most, _LEAST_TOP))
    scale = (BOTTOM - TOP) / top
    wide = (WIDTH - LEFT) / parts
    blocks = [
        block
        for i, count in enumerate(counts)
        for block in _stack(count, LEFT + i * wide, wide, scale)
    ]
    steps = (0, top // 2, top)
    return Bars(tuple(blocks), tuple((round(BOTTOM - n * scale, 1), n) for n in steps), most)


def _stack(count: dict[Priority, int], x: float, wide: float, scale: float) -> list[Block]:
    blocks, y = [], BOTTOM
    for priority in _ORDER:
        height = count[priority] * scale
        if height:
            y -= height
            edge = round(wide * 0.12, 2)
            blocks.append(
                Block(
                    priority.value,
                    round(x + edge, 1),
                    round(y, 1),
                    round(wide - 2 * edge, 1),
                    round(height, 1),
                )
            )
    return blocks


def _round_up(most: int) -> int:
    """Give an even number at or above, so that the middle line is a whole one."""
    step = 2 if most <= 20 else 10 if most <= 100 else 50
    return -(-most // step) * step
