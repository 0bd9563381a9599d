"""Verdicts as JSON members: times in RFC 3339, numbers in the channel's unit."""

from dataclasses import asdict, is_dataclass, replace
from typing import Any, Final

from steadybead_domain.ids import ChannelId
from steadybead_domain.times import format_rfc3339
from steadybead_domain.verdict.model import Excursion, Judgement, Verdict
from steadybead_domain.verdict.rule import DecisionRule

_TIMES: Final = frozenset({"start", "end"})


def verdict_json(verdict: Verdict) -> dict[str, Any]:
    """Write a verdict; what its members mean stands at the classes of the model."""
    return {
        "weld": verdict.weld,
        "verdict": verdict.conclusion.value,
        "rule": rule_json(verdict.rule),
        "procedure": verdict.procedure,
        "procedure_revision": verdict.procedure_revision,
        "reasons": [plain(r) for r in verdict.reasons],
        "quantities": [_judgement(j) for j in verdict.judgements],
        "excursions": [_excursion(e) for e in verdict.excursions],
        "runs": [plain(r) for r in verdict.runs],
        "runs_from": verdict.runs_from,
        "seam": None if verdict.seam is None else plain(verdict.seam),
        "not_proven": list(verdict.not_proven),
    }


def budgets_json(verdict: Verdict) -> dict[str, Any]:
    """Write for each quantity the budget of a single reading and that of an average, by term."""
    average_s = verdict.rule.average_s
    return {
        j.quantity.value: {
            "reading": j.budget.to_json(),
            f"mean over {average_s:g} s": j.budget.over(average_s).to_json(),
        }
        for j in verdict.judgements
        if j.budget is not None
    }


def rule_json(rule: DecisionRule) -> dict[str, Any]:
    """Write a decision rule with its sentence."""
    return {**asdict(rule), "words": rule.words}


def _judgement(judgement: Judgement) -> dict[str, Any]:
    told = plain(replace(judgement, budget=None))
    del told["excursions"], told["budget"]
    return {
        **told,
        "share_inside": judgement.share_inside,
        "lowest": judgement.lowest,
        "highest": judgement.highest,
    }


def _excursion(excursion: Excursion) -> dict[str, Any]:
    return {**plain(excursion), "length_s": excursion.length_s}


def plain(item: Any) -> Any:
    """Turn dataclasses into members, level by level."""
    if is_dataclass(item) and not isinstance(item, type | ChannelId):
        names = item.__dataclass_fields__
        return {name: _member(name, getattr(item, name)) for name in names}
    if isinstance(item, tuple | list):
        return [plain(part) for part in item]
    return str(item) if isinstance(item, str | ChannelId) else item


def _member(name: str, value: Any) -> Any:
    if name in _TIMES and isinstance(value, int):
        return format_rfc3339(value)
    return plain(value)
