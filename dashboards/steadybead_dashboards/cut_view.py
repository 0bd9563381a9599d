"""Cut plans of a weld as its page shows them."""

from collections.abc import Sequence
from dataclasses import dataclass

from steadybead_dashboards.catalogue import mark
from steadybead_dashboards.sensor_words import short
from steadybead_dashboards.shell import Shell
from steadybead_dashboards.site_time import Moment
from steadybead_domain.verdict.cut_results import CutResult, Outcome, RestJudged
from steadybead_domain.verdict.cutplan import CutPlan, Strand

STRANDS = {
    Strand.WORST: mark("worst place"),
    Strand.BORDERLINE: mark("borderline place"),
    Strand.CONTROL: mark("control"),
}
OUTCOMES = {
    Outcome.MET: mark("met"),
    Outcome.NOT_MET: mark("not met"),
    Outcome.SPOILT: mark("spoilt"),
}


@dataclass(frozen=True, slots=True)
class StripRow:
    """One strip with what came of it; `outcome` is empty while nothing is known."""

    label: str
    strand: str
    bead: int
    place: str
    give: str
    about: str
    outcome: str
    result: str


@dataclass(frozen=True, slots=True)
class CutView:
    """One plan; `rest` and `steps` say what follows for what was not cut."""

    id: str
    sheet: str
    reason: str
    author: str
    made: Moment
    width: str
    strips: tuple[StripRow, ...]
    left_out: tuple[str, ...]
    rest: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CutFacts:
    """A plan as it is on record, with its results and what follows."""

    id: str
    reason: str
    author: str
    entered: int
    plan: CutPlan
    results: Sequence[CutResult]
    rest: RestJudged


def cut_view(facts: CutFacts, shell: Shell) -> CutView:
    """Show one plan; of several results of a strip the newest counts."""
    newest = {r.strip: r for r in sorted(facts.results, key=lambda r: (r.entered, r.revision))}
    plan = facts.plan
    rows = [
        StripRow(
            s.label,
            STRANDS[s.strand],
            s.bead,
            f"{s.start_mm:.0f} – {s.end_mm:.0f} mm",
            f"± {s.give_mm:.0f} mm",
            s.about,
            OUTCOMES[newest[s.label].outcome] if s.label in newest else "",
            _result(newest.get(s.label)),
        )
        for s in plan.strips
    ]
    return CutView(
        facts.id,
        f"/api/v1/welds/{plan.weld}/cut-plans/{facts.id}/sheet",
        facts.reason,
        facts.author,
        shell.moment(facts.entered),
        f"{short(plan.width_mm)} mm",
        tuple(rows),
        plan.left_out,
        facts.rest.rest.value,
        tuple(facts.rest.steps),
    )


def _result(item: CutResult | None) -> str:
    if item is None:
        return ""
    value = "" if item.value is None else f"{short(item.value)} {item.unit}"
    return ", ".join(part.strip() for part in (item.method, value, item.laboratory) if part.strip())
