"""Cut plans and results of strips: each step is added, none is changed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from steadybead_collector.records import revisions
from steadybead_collector.records.database import Database
from steadybead_collector.records.revisions import Act, Entry
from steadybead_collector.records.schema import cut_plan, cut_result
from steadybead_domain.calibration.validation import Problem
from steadybead_domain.times import format_rfc3339, parse_rfc3339
from steadybead_domain.verdict.cut_results import CutResult
from steadybead_domain.verdict.cutplan import CutPlan


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan as it was made: for what reason, under which verdict, by whom and when."""

    id: str
    plan: CutPlan
    reason: str
    verdict: str
    author: str
    entered: int


class CutRecords:
    """Plans by weld record, and what came of their strips."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep_plan(self, item: KeptPlan, act: Act) -> tuple[KeptPlan, bool]:
        """Keep a plan; give the one that stands under its id, and whether it is new. TakenError."""
        content = {
            "id": item.id,
            "plan": item.plan.to_json(),
            "reason": item.reason,
            "verdict": item.verdict,
            "author": item.author,
            "entered": format_rfc3339(item.entered),
        }
        entry = Entry(item.id, 1, item.plan.weld, item.entered, content)
        with self._database.write() as connection:
            kept, is_new = revisions.keep(connection, cut_plan, entry, act, _nothing)
        return _plan(kept), is_new

    def plans(self, weld: str) -> list[KeptPlan]:
        """List the plans of a record, the oldest first."""
        with self._database.read() as connection:
            found = revisions.newest(connection, cut_plan, cut_plan.c.about == weld)
        return [_plan(content) for content in found]

    def keep_result(
        self, item: CutResult, act: Act, problems: Callable[[], Sequence[Problem]]
    ) -> tuple[CutResult, bool]:
        """Keep a result or a revision of one; TakenError, NotKeptError."""
        entry = Entry(item.id, item.revision, item.weld, item.time, item.to_json())
        with self._database.write() as connection:
            kept, is_new = revisions.keep(connection, cut_result, entry, act, problems)
        return CutResult.from_json(kept), is_new

    def results(self, weld: str) -> list[CutResult]:
        """List every revision of every result of a record, in the order of entry."""
        with self._database.read() as connection:
            found = revisions.every(connection, cut_result, cut_result.c.about == weld)
        return [CutResult.from_json(content) for content in found]


def _nothing() -> Sequence[Problem]:
    return ()


def _plan(content: dict[str, Any]) -> KeptPlan:
    members = {**content, "plan": CutPlan.from_json(content["plan"])}
    return KeptPlan(**{**members, "entered": parse_rfc3339(content["entered"])})
