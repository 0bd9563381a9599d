"""What tests of cut strips say of the rest of the seam. Each step is recorded; none is undone."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from steadybead_domain.times import format_rfc3339, parse_rfc3339
from steadybead_domain.verdict.cutplan import CutPlan, Strand, Strip

METHODS: Final = ("bend", "tensile")
MOST_TEXT: Final = 500


class Outcome(StrEnum):
    """What the laboratory says of a strip against its requirement."""

    MET = "met"
    NOT_MET = "not met"
    SPOILT = "spoilt"


@dataclass(frozen=True, slots=True)
class CutResult:
    """The test of one strip: `method` after EN 12814 (part 1 bend, part 2 tensile, from memory).

    `value` in `unit` is what was measured (bend angle, ram displacement, strength factor).
    """

    id: str
    weld: str
    strip: str
    method: str
    outcome: Outcome
    time: int
    laboratory: str
    author: str
    entered: int
    value: float | None = None
    unit: str = ""
    note: str = ""
    revision: int = 1

    def to_json(self) -> dict[str, Any]:
        """Write it as JSON members."""
        members = {name: getattr(self, name) for name in self.__slots__}
        return members | {
            "outcome": self.outcome.value,
            "time": format_rfc3339(self.time),
            "entered": format_rfc3339(self.entered),
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> "CutResult":
        """Read what `to_json` wrote."""
        members = dict(data)
        members["outcome"] = Outcome(members["outcome"])
        members["time"] = parse_rfc3339(members["time"])
        members["entered"] = parse_rfc3339(members["entered"])
        return cls(**members)


class Rest(StrEnum):
    """What is said of the stretches that were not cut."""

    WAITING = "waiting for results"
    SUPPORTED = "supported by the tests"
    WORST_REJECTED = "rejected where heat and air did not conform"
    DOUBTFUL_REJECTED = "rejected wherever heat and air did not clearly conform"
    ANOTHER_CAUSE = "all in doubt: the control failed too, so heat and air are not the cause alone"


@dataclass(frozen=True, slots=True)
class RestJudged:
    """What follows for the rest, from which strips, in steps that can be read one by one."""

    rest: Rest
    steps: tuple[str, ...]


def judge_rest(plan: CutPlan, results: Iterable[CutResult]) -> RestJudged:
    """Judge what was not cut. A strand fails with one strip not met; spoilt strips say nothing.

    The verdict on heat and air stays what it was: tests speak of the weld, the log does not.
    """
    newest = _newest(results)
    steps = []
    held: dict[Strand, bool | None] = {}
    for strand in Strand:
        own = [s for s in plan.strips if s.strand is strand]
        held[strand] = _held(own, newest)
        if own:
            steps.append(f"{strand.value}: {_told(own, newest)}")
    return RestJudged(_rest(held, plan), tuple(steps))


def result_problems(item: CutResult, plan: CutPlan | None, now: int) -> list[tuple[str, str]]:
    """Give what is wrong with a result: (field, remedy)."""
    found = []
    labels = [] if plan is None else [s.label for s in plan.strips]
    if item.strip not in labels:
        found.append(("strip", f"write one of the plan's strips: {', '.join(labels) or 'none'}"))
    if item.method not in METHODS:
        found.append(("method", f"write one of: {', '.join(METHODS)}"))
    if item.time > now:
        found.append(("time", "a result cannot be of a later time than now"))
    if len(item.note) > MOST_TEXT:
        found.append(("note", f"is longer than {MOST_TEXT} characters: shorten it"))
    return found


def _newest(results: Iterable[CutResult]) -> dict[str, CutResult]:
    """Take for each strip the newest revision of its newest entry."""
    found: dict[str, CutResult] = {}
    for item in sorted(results, key=lambda r: (r.entered, r.revision)):
        found[item.strip] = item
    return found


def _held(strips: Sequence[Strip], results: Mapping[str, CutResult]) -> bool | None:
    """Tell whether a strand held; None while that is not known."""
    outcomes = [results[s.label].outcome for s in strips if s.label in results]
    if Outcome.NOT_MET in outcomes:
        return False
    told = [o for o in outcomes if o is not Outcome.SPOILT]
    return True if told and len(told) == len(strips) else None


def _rest(held: Mapping[Strand, bool | None], plan: CutPlan) -> Rest:
    worst, control = held[Strand.WORST], held[Strand.CONTROL]
    if control is False:
        return Rest.ANOTHER_CAUSE
    if worst is None or (control is None and _has(plan, Strand.CONTROL)):
        return Rest.WAITING
    if worst:
        return Rest.SUPPORTED
    borderline = held[Strand.BORDERLINE]
    if borderline is None and _has(plan, Strand.BORDERLINE):
        return Rest.WAITING
    return Rest.WORST_REJECTED if borderline else Rest.DOUBTFUL_REJECTED


def _has(plan: CutPlan, strand: Strand) -> bool:
    return any(s.strand is strand for s in plan.strips)


def _told(strips: Sequence[Strip], results: Mapping[str, CutResult]) -> str:
    words = []
    for strip in strips:
        result = results.get(strip.label)
        if result is None:
            words.append(f"{strip.label} not told yet")
        else:
            day = format_rfc3339(result.time)[:10]
            words.append(f"{strip.label} {result.method} {result.outcome.value} ({day})")
    return ", ".join(words)
