"""`[verdict]` and `[evidence]` in the plant file: how the shop decides, and where roots go."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from steadybead_collector.config.reader import Table
from steadybead_domain.verdict.rule import LARGEST_RISK, LEAST_RISK, DecisionRule

LEAST_AVERAGE_S: Final = 1.0
LARGEST_AVERAGE_S: Final = 600.0


@dataclass(frozen=True, slots=True)
class EvidenceSettings:
    """Where each daily root is sent: a folder, which should lie outside of the shop; a receiver.

    `receiver` names one of the `[[notify]]` tables.
    """

    drop_folder: Path | None = None
    receiver: str | None = None


def read_rule(table: Table) -> DecisionRule:
    """Read `[verdict]`."""
    table.only(("risk", "average_s"))
    own = DecisionRule()
    return DecisionRule(
        _within(table, "risk", own.risk, LEAST_RISK, LARGEST_RISK),
        _within(table, "average_s", own.average_s, LEAST_AVERAGE_S, LARGEST_AVERAGE_S),
    )


def read_evidence(table: Table, folder: Path | None, receivers: Sequence[str]) -> EvidenceSettings:
    """Read `[evidence]`; a relative folder is looked up beside the plant file."""
    table.only(("drop_folder", "receiver"))
    drop, receiver = table.text("drop_folder"), table.text("receiver")
    if receiver is not None and receiver not in receivers:
        known = ", ".join(receivers) or "there is none"
        table.fault("receiver", f"no [[notify]] is named {receiver}", f"name one of: {known}")
    return EvidenceSettings(None if drop is None else (folder or Path()) / drop, receiver)


def _within(table: Table, key: str, usual: float, low: float, high: float) -> float:
    value = table.number(key)
    if math.isnan(value):
        return usual
    if not low <= value <= high:
        table.fault(key, f"{key} is {value:g}", f"write a number from {low:g} to {high:g}")
        return usual
    return value
