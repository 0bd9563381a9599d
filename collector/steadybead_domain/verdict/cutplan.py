"""Where to cut: the fewest strips that show the worst place, a borderline one and a control.

A place on the seam is known ± its give. So that a stretch of length L is met wherever within its
give g it lies, strips of width w leave no more than L between them: n >= 2g / (w + L), one at
least. EN 12814 (bend and tensile tests of welded joints, from memory) says how a strip is tested;
its width is the shop's to give.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from steadybead_domain.ids import ChannelId
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import SECOND
from steadybead_domain.verdict.codec import plain
from steadybead_domain.verdict.model import Excursion, Judgement, SeamStretch, Side, Verdict
from steadybead_domain.verdict.rule import Guarded
from steadybead_domain.verdict.seam import SeamFacts, seam_map

STRIP_MM: Final = 30.0  # project assumption: take the width that the test standard asks for
MOST_STRIPS: Final = 12


class Strand(StrEnum):
    """What a strip is to show."""

    WORST = "worst"
    BORDERLINE = "borderline"
    CONTROL = "control"


@dataclass(frozen=True, slots=True)
class Strip:
    """One strip: cut from `start_mm` to `end_mm` of a bead. `label` is written on it.

    The stretch that it stands for is known ± `give_mm`.
    """

    label: str
    strand: Strand
    bead: int
    start_mm: float
    end_mm: float
    give_mm: float
    about: str


@dataclass(frozen=True, slots=True)
class CutPlan:
    """The strips, from the seam's start; `left_out` says what no strip could be placed for."""

    weld: str
    length_mm: float
    width_mm: float
    strips: tuple[Strip, ...]
    left_out: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Write it as JSON members."""
        members: dict[str, Any] = plain(self)
        return members

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> "CutPlan":
        """Read what `to_json` wrote."""
        strips = tuple(Strip(**{**s, "strand": Strand(s["strand"])}) for s in data["strips"])
        return cls(
            data["weld"], data["length_mm"], data["width_mm"], strips, tuple(data["left_out"])
        )


@dataclass(frozen=True, slots=True)
class Candidate:
    """A stretch of averages: how far from the nearest limit, in guard bands, and in whose words.

    Negative: outside the window. `quantity` is the one nearest to its limit.
    """

    start: int
    end: int
    margin: float
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class _Placed:
    """A candidate on its bead."""

    candidate: Candidate
    stretch: SeamStretch

    @property
    def give(self) -> float:
        return max(self.stretch.start_give_mm, self.stretch.end_give_mm)

    def near(self, other: "_Placed") -> bool:
        """Tell whether the two may lie in one place."""
        one, two = self.stretch, other.stretch
        apart = max(one.start_mm - two.end_mm, two.start_mm - one.end_mm)
        return one.bead == two.bead and apart <= max(self.give, other.give)


def plan_cuts(verdict: Verdict, facts: SeamFacts, width_mm: float = STRIP_MM) -> CutPlan | None:
    """Plan the cuts of a judged record; None where no place on the seam is known."""
    candidates = _merged(_candidates(verdict.judgements))
    placed = seam_map([_as_excursion(c) for c in candidates], verdict.runs, facts)
    if placed is None:
        return None
    on_seam = [_Placed(candidates[s.excursion], s) for s in _first_of_each(placed.stretches)]
    chosen, left_out = _choose(on_seam)
    strips = [
        strip
        for strand, place in chosen
        for strip in _strips(strand, place, width_mm, placed.length_mm)
    ]
    ordered = tuple(sorted(strips, key=lambda s: (s.bead, s.start_mm)))
    return CutPlan(verdict.weld, placed.length_mm, width_mm, ordered, tuple(left_out))


def _choose(on_seam: Sequence[_Placed]) -> tuple[list[tuple[Strand, _Placed]], list[str]]:
    """Choose the places to cut, and say what there is none of."""
    if not on_seam:
        return [], ["no average has good readings enough to choose a place by"]
    worst = min(on_seam, key=lambda p: (p.candidate.margin, p.candidate.start))
    chosen = [(Strand.WORST, worst)]
    left_out = []
    rest = [p for p in on_seam if p is not worst]
    inside = [p for p in rest if p.candidate.margin >= 0.0]
    apart = [p for p in inside if not p.near(worst)]
    borderline = min(
        apart or inside, key=lambda p: (p.candidate.margin, p.candidate.start), default=None
    )
    if borderline is None:
        left_out.append("borderline: no other average lies inside the window")
    else:
        chosen.append((Strand.BORDERLINE, borderline))
    taken = [p for _, p in chosen]
    far = [p for p in rest if not any(p.near(t) for t in taken)]
    control = max(far, key=lambda p: (_around(p, on_seam), -p.candidate.start), default=None)
    if control is None or _around(control, on_seam) <= 0.0:
        left_out.append("control: no place is surely inside the window and apart from the others")
    else:
        chosen.append((Strand.CONTROL, control))
    return chosen, left_out


def _around(place: _Placed, on_seam: Sequence[_Placed]) -> float:
    """Give the least margin of all that may lie where a place is thought to be."""
    return min(p.candidate.margin for p in on_seam if p.near(place))


def _candidates(judgements: Sequence[Judgement]) -> list[Candidate]:
    """Take the averages of all quantities together: the nearer limit counts."""
    found: dict[tuple[int, int], Candidate] = {}
    unknown = set()
    for judgement in judgements:
        limits = judgement.guarded
        for average in judgement.averages if limits is not None else ():
            key = (average.start, average.end)
            if average.mean is None or limits is None:
                unknown.add(key)
                continue
            candidate = Candidate(*key, margin(average.mean, limits), judgement.quantity)
            known = found.get(key)
            if known is None or candidate.margin < known.margin:
                found[key] = candidate
    kept = [c for key, c in found.items() if key not in unknown]
    return sorted(kept, key=lambda c: c.start)


def margin(mean: float, limits: Guarded) -> float:
    """Give the distance to the nearest limit in guard bands; negative outside the window."""
    sides = [mean - limits.low if limits.low is not None else math.inf]
    sides.append(limits.high - mean if limits.high is not None else math.inf)
    return min(sides) / max(limits.guard, 1e-9)


def _merged(candidates: Sequence[Candidate]) -> list[Candidate]:
    """Join neighbours that are outside the window: they are one stretch."""
    merged: list[Candidate] = []
    for candidate in candidates:
        last = merged[-1] if merged else None
        joins = last is not None and last.end == candidate.start
        if last is not None and joins and last.margin < 0.0 and candidate.margin < 0.0:
            worse = min(last, candidate, key=lambda c: c.margin)
            merged[-1] = Candidate(last.start, candidate.end, worse.margin, worse.quantity)
        else:
            merged.append(candidate)
    return merged


def _as_excursion(candidate: Candidate) -> Excursion:
    nowhere = ChannelId("-", "-", "-/-")
    return Excursion(
        candidate.quantity,
        nowhere,
        Side.BELOW,
        candidate.start,
        candidate.end,
        0.0,
        0.0,
        0.0,
        "",
        False,
    )


def _first_of_each(stretches: Iterable[SeamStretch]) -> list[SeamStretch]:
    """Keep one stretch for each choice: the longest, where one goes over a bead's end."""
    best: dict[int, SeamStretch] = {}
    for stretch in stretches:
        known = best.get(stretch.excursion)
        if known is None or _length(stretch) > _length(known):
            best[stretch.excursion] = stretch
    return list(best.values())


def _length(stretch: SeamStretch) -> float:
    return stretch.end_mm - stretch.start_mm


def _strips(strand: Strand, place: _Placed, width_mm: float, seam_mm: float) -> list[Strip]:
    """Spread strips over a stretch and its give, so that one of them meets it."""
    stretch, give = place.stretch, place.give
    length = _length(stretch)
    count = 1 if strand is not Strand.WORST else strips_needed(length, give, width_mm)
    low, high = max(stretch.start_mm - give, 0.0), min(stretch.end_mm + give, seam_mm)
    letter = strand.value[0].upper()
    strips = []
    for i in range(count):
        if count == 1:
            middle = (stretch.start_mm + stretch.end_mm) / 2.0
        else:
            gap = max((high - low - count * width_mm) / (count + 1), 0.0)
            middle = low + gap + width_mm / 2.0 + i * (gap + width_mm)
        start = min(max(middle - width_mm / 2.0, 0.0), max(seam_mm - width_mm, 0.0))
        label = f"{letter}{i + 1}"
        strips.append(
            Strip(
                label,
                strand,
                stretch.bead,
                start,
                min(start + width_mm, seam_mm),
                give,
                _words(place.candidate),
            )
        )
    return strips


def strips_needed(length_mm: float, give_mm: float, width_mm: float) -> int:
    """Count the strips so that a stretch of a length is met wherever in its ± give it lies."""
    needed = math.ceil(2.0 * give_mm / (width_mm + length_mm) - 1e-9)
    return min(max(needed, 1), MOST_STRIPS)


def _words(candidate: Candidate) -> str:
    named = candidate.quantity.value.replace("_", " ")
    seconds = (candidate.end - candidate.start) / SECOND
    where = "outside the window" if candidate.margin < 0.0 else "inside the window"
    return f"{named} over {seconds:.0f} s, {abs(candidate.margin):.2g} guard bands {where}"
