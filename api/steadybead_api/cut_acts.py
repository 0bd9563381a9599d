"""Planning cuts and entering their results on somebody's behalf."""

from typing import Any

from steadybead_api.measuring import Measuring
from steadybead_api.problems import Problem
from steadybead_api.services import Services
from steadybead_api.verdict import seam_facts, weld_verdict
from steadybead_collector.records.cuts import KeptPlan
from steadybead_collector.records.revisions import Act, NotKeptError, TakenError
from steadybead_domain.calibration.validation import Problem as Mistake
from steadybead_domain.verdict.codec import plain
from steadybead_domain.verdict.cut_results import CutResult, judge_rest, result_problems
from steadybead_domain.verdict.cutplan import plan_cuts
from steadybead_domain.welds import Weld


def make_plan(
    services: Services, weld: Weld, name: str, reason: str, width_mm: float, act: Act
) -> tuple[KeptPlan, bool]:
    """Plan and keep; what stands under the id already is given again. Problem 409."""
    known = next((p for p in services.records.cuts.plans(weld.id) if p.id == name), None)
    if known is not None:
        return known, False
    verdict = weld_verdict(services, weld, Measuring(services))
    plan = plan_cuts(verdict, seam_facts(services, weld), width_mm)
    if plan is None:
        text = "no place on the seam is known: enter its length, or a procedure with a travel speed"
        raise Problem(409, "seam", text)
    if not plan.strips:
        raise Problem(409, "seam", "; ".join(plan.left_out))
    kept = KeptPlan(name, plan, reason, verdict.conclusion.value, act.by.name, act.now)
    try:
        return services.records.cuts.keep_plan(kept, act)
    except TakenError as error:
        raise Problem(409, "revision", str(error)) from None


def keep_result(services: Services, item: CutResult, act: Act) -> tuple[CutResult, bool]:
    """Keep a result; Problem 409 or 422."""
    plans = services.records.cuts.plans(item.weld)
    plan = plans[-1].plan if plans else None

    def problems() -> list[Mistake]:
        return [Mistake(at, text) for at, text in result_problems(item, plan, act.now)]

    try:
        return services.records.cuts.keep_result(item, act, problems)
    except NotKeptError as error:
        errors = [{"at": p.field, "detail": p.text} for p in error.problems]
        raise Problem(422, "validation", str(error), errors=errors) from None
    except TakenError as error:
        raise Problem(409, "revision", str(error)) from None


def the_plan(services: Services, weld: str, plan: str) -> KeptPlan:
    """Find a plan of a record; Problem 404."""
    found = next((p for p in services.records.cuts.plans(weld) if p.id == plan), None)
    if found is None:
        raise Problem(404, "cut-plan", f"weld {weld} has no cut plan {plan}")
    return found


def plan_items(services: Services, weld: str) -> list[dict[str, Any]]:
    """Describe the plans of a record."""
    return [plan_item(services, p) for p in services.records.cuts.plans(weld)]


def plan_item(services: Services, kept: KeptPlan) -> dict[str, Any]:
    """Describe a plan with the results entered since it was made, and what follows for the rest."""
    results = [
        r for r in services.records.cuts.results(kept.plan.weld) if r.entered >= kept.entered
    ]
    rest = judge_rest(kept.plan, results)
    told = kept.plan.to_json()
    return {
        "id": kept.id,
        "reason": kept.reason,
        "verdict": kept.verdict,
        "author": kept.author,
        "entered": kept.entered,
        **told,
        "results": [r.to_json() for r in results],
        "rest": rest.rest.value,
        "steps": plain(rest.steps),
    }
