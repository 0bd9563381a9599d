"""The verdict on a whole record: its quantities, and the conditions of the record itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from steadybead_domain.procedures import Procedure
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import DAY, SECOND
from steadybead_domain.verdict.judge import Evidence, judge
from steadybead_domain.verdict.model import (
    Conclusion,
    Judgement,
    Reason,
    Run,
    Verdict,
    Why,
    in_order,
)
from steadybead_domain.verdict.rule import DecisionRule
from steadybead_domain.verdict.seam import DEFAULT_SEAM, SeamAssumptions, SeamFacts, seam_map
from steadybead_domain.welds import Weld

JUDGED: Final = (Quantity.NOZZLE_TEMPERATURE, Quantity.AIR_FLOW)
UNITS: Final = {q: q.facts.unit for q in JUDGED}
SHORTEST_US: Final = SECOND
LONGEST_US: Final = DAY


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """All that a verdict stands on.

    `evidence` holds, for each quantity, what it is judged by, or the reason why there is nothing.
    `overlapping` are ids of other records of the same gun that share time with this one.
    `too_long`: longer than `LONGEST_US`, so its readings were not looked at.
    """

    weld: Weld
    procedure: Procedure | None
    overlapping: Sequence[str]
    evidence: Sequence[tuple[Quantity, Evidence | Reason]]
    runs: Sequence[Run]
    runs_from: str
    seam: SeamFacts
    has_force: bool = False
    too_long: bool = False


def conclude(case: Case, rule: DecisionRule, seam: SeamAssumptions = DEFAULT_SEAM) -> Verdict:
    """Judge a record. What blocks a verdict goes before what the readings say."""
    own = record_reasons(case)
    judgements = tuple(_judged(q, given, case.runs, rule) for q, given in case.evidence)
    procedure = case.procedure
    return Verdict(
        case.weld.id,
        _whole(own, judgements),
        rule,
        (*own, *(r for j in judgements for r in j.reasons)),
        judgements,
        tuple(case.runs),
        case.runs_from,
        seam_map(in_order(judgements), case.runs, case.seam, seam),
        not_proven(case),
        None if procedure is None else procedure.id,
        None if procedure is None else procedure.revision,
    )


def record_reasons(case: Case) -> Sequence[Reason]:
    """List what of the record itself stands against a verdict."""
    weld = case.weld
    reasons = []
    if case.procedure is None:
        text = "no procedure was assigned: there is no window to hold it to"
        reasons.append(Reason(Why.NO_PROCEDURE, text))
    if weld.stop is None:
        text = "the record was never stopped: where the seam ends is not known"
        reasons.append(Reason(Why.NOT_STOPPED, text, weld.start))
    elif weld.stop - weld.start < SHORTEST_US:
        text = "the record is shorter than a second"
        reasons.append(Reason(Why.NO_LENGTH, text, weld.start, weld.stop))
    if case.too_long:
        text = "the record is longer than a day: one start for each seam or stretch of it"
        reasons.append(Reason(Why.TOO_LONG, text, weld.start, weld.stop))
    if weld.ended_by == "next start":
        text = "the stop was not told: the record ended where the next one began on the same gun"
        reasons.append(Reason(Why.STOP_NOT_TOLD, text, weld.start, weld.stop))
    if case.overlapping:
        text = f"other records of the same gun share its time: {', '.join(case.overlapping[:5])}"
        reasons.append(Reason(Why.OVERLAPPING, text))
    if not case.runs and not case.too_long:
        text = f"no welding was seen inside the record ({case.runs_from})"
        reasons.append(Reason(Why.NO_RUN, text))
    return reasons


def not_proven(case: Case) -> tuple[str, ...]:
    """List what the log cannot prove; it belongs beside every verdict."""
    found = [] if case.has_force else ["the force on the rod"]
    found += [
        "the preparation of sheet and rod",
        "the stand-off and angle of the nozzle",
        "which seam the gun was held to, and whose hand held it: that is as it was entered",
    ]
    if case.seam.speed is None:
        known = case.seam.length_mm is not None
        found.append(
            "the travel speed from place to place: only its mean follows from the length"
            if known
            else "the travel speed: no length was entered and no speed was measured"
        )
    found.append("that the sensors were right beyond their stated uncertainty")
    return tuple(found)


def _judged(
    quantity: Quantity, given: Evidence | Reason, runs: Sequence[Run], rule: DecisionRule
) -> Judgement:
    if isinstance(given, Reason):
        unit = UNITS.get(quantity, "")
        return Judgement(quantity, None, unit, Conclusion.CANNOT_TELL, (given,))
    return judge(given, runs, rule)


def _whole(own: Sequence[Reason], judgements: Sequence[Judgement]) -> Conclusion:
    conclusions = {j.conclusion for j in judgements}
    if any(r.blocking for r in own) or not judgements:
        return Conclusion.CANNOT_TELL
    if Conclusion.DOES_NOT_CONFORM in conclusions:
        return Conclusion.DOES_NOT_CONFORM
    clear = conclusions == {Conclusion.CONFORMS} and not own
    return Conclusion.CONFORMS if clear else Conclusion.CANNOT_TELL
