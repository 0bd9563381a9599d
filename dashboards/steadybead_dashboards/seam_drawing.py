"""The seam to scale: each bead a lane, each excursion a block with its ± at both ends."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from steadybead_domain.quantities import Quantity
from steadybead_domain.verdict.model import Excursion, SeamMap, SeamStretch

WIDTH: Final = 1000.0
LEFT: Final = 44.0
RIGHT: Final = 44.0
LANE: Final = 64.0
TOP: Final = 14.0
RULER: Final = 34.0
MOST_LANES: Final = 24
MOST_BLOCKS: Final = 300
_LEAST_PX: Final = 3.0
_STEPS: Final = (
    1,
    2,
    5,
    10,
    20,
    50,
    100,
    200,
    500,
    1000,
    2000,
    5000,
    10_000,
    20_000,
    50_000,
    100_000,
)


@dataclass(frozen=True, slots=True)
class Block:
    """One stretch: `x`, `width` of the block, `low_x`, `high_x` of its ±; `y` of its upper edge.

    `number` is the excursion's place in the table, from 1; `heat` lies above the bead, air below.
    """

    number: int
    x: float
    width: float
    low_x: float
    high_x: float
    y: float
    heat: bool
    beyond_doubt: bool


@dataclass(frozen=True, slots=True)
class Lane:
    """One bead; `y` is the middle of the bead. `name` is its number."""

    name: int
    y: float


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark of the ruler."""

    x: float
    text: str


@dataclass(frozen=True, slots=True)
class SeamDrawing:
    """Geometry in a box of 1000 by `height`; `left_out` counts what is not drawn."""

    height: float
    start_x: float
    end_x: float
    ruler_y: float
    lanes: tuple[Lane, ...]
    blocks: tuple[Block, ...]
    ticks: tuple[Tick, ...]
    left_out: int


def seam_drawing(seam: SeamMap, excursions: Sequence[Excursion]) -> SeamDrawing:
    """Lay out the seam; with many beads only those with an excursion are drawn."""
    touched = sorted({s.bead for s in seam.stretches})
    beads = list(range(1, seam.beads + 1)) if seam.beads <= MOST_LANES else touched[:MOST_LANES]
    beads = beads or [1]
    lanes = {bead: TOP + LANE * (i + 0.5) for i, bead in enumerate(beads)}
    shown = [s for s in seam.stretches if s.bead in lanes][:MOST_BLOCKS]
    blocks = tuple(_block(s, excursions[s.excursion], seam, lanes[s.bead]) for s in shown)
    ruler_y = TOP + LANE * len(beads) + 4.0
    return SeamDrawing(
        ruler_y + RULER,
        LEFT,
        WIDTH - RIGHT,
        ruler_y,
        tuple(Lane(bead, y) for bead, y in lanes.items()),
        blocks,
        tuple(_ticks(seam.length_mm)),
        len(seam.stretches) - len(shown),
    )


def _at(place_mm: float, length_mm: float) -> float:
    share = min(max(place_mm / length_mm, 0.0), 1.0)
    return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)


def _block(stretch: SeamStretch, excursion: Excursion, seam: SeamMap, lane_y: float) -> Block:
    x = _at(stretch.start_mm, seam.length_mm)
    width = max(_at(stretch.end_mm, seam.length_mm) - x, _LEAST_PX)
    heat = excursion.quantity is Quantity.NOZZLE_TEMPERATURE
    return Block(
        stretch.excursion + 1,
        min(x, WIDTH - RIGHT - width),
        round(width, 1),
        _at(stretch.start_mm - stretch.start_give_mm, seam.length_mm),
        _at(stretch.end_mm + stretch.end_give_mm, seam.length_mm),
        lane_y - 25.0 if heat else lane_y + 9.0,
        heat,
        excursion.beyond_doubt,
    )


def _ticks(length_mm: float) -> list[Tick]:
    step = next((s for s in _STEPS if length_mm / s <= 10), _STEPS[-1])
    marks = [i * step for i in range(math.floor(length_mm / step) + 1)]
    if length_mm - marks[-1] > 0.4 * step:
        marks.append(round(length_mm))
    elif len(marks) > 1:
        marks[-1] = round(length_mm)
    return [Tick(_at(m, length_mm), f"{m:g}") for m in marks]
