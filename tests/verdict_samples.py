"""Curves, budgets and cases for tests of verdicts."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.procedures import Procedure, Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns, Quality, Reason
from steadybead_domain.times import SECOND, parse_rfc3339
from steadybead_domain.uncertainty.budget import Budget, Distribution, Term
from steadybead_domain.verdict.conclude import Case, conclude
from steadybead_domain.verdict.judge import Evidence
from steadybead_domain.verdict.model import Reason as Because
from steadybead_domain.verdict.model import Run, Verdict
from steadybead_domain.verdict.rule import DecisionRule
from steadybead_domain.verdict.seam import SeamFacts
from steadybead_domain.welds import Weld

T0 = parse_rfc3339("2026-05-04T07:30:00Z")
BAY = StationId("north", "bay-1")
NOZZLE = ChannelId("north", "bay-1", "gun-a/nozzle")
FLOW = ChannelId("north", "bay-1", "gun-a/flow")
HEAT = Quantity.NOZZLE_TEMPERATURE
AIR = Quantity.AIR_FLOW
WINDOW = Window(300.0, 340.0, "Cel")
PROCEDURE = Procedure(
    "pp",
    "PP",
    "PP",
    "641",
    WINDOW,
    Window(45.0, 55.0, "L/min"),
    FlowReference.DIN_1343,
    "test",
    "1",
    travel_speed=Window(250.0, 350.0, "mm/min"),
)


def budget(standard: float, unit: str = "°C", noise: float = 0.0) -> Budget:
    """Make a budget of one systematic term, and one that averages away after 1 s."""
    fixed = Term("fixed", standard, unit, Distribution.NORMAL, 1.0)
    random = Term("noise", noise, unit, Distribution.NORMAL, 1.0, averages_over_s=1.0)
    return Budget((fixed, random), unit)


def curve(
    values: npt.ArrayLike, start_s: float = -10.0, step_s: float = 0.2, quality: int = Quality.GOOD
) -> Columns:
    """Make evenly spaced readings; `start_s` counts from T0."""
    value = np.asarray(values, np.float64)
    n = len(value)
    reason = Reason.NONE if quality == Quality.GOOD else Reason.TIME_OF_RECEIPT
    return Columns(
        T0 + np.round((start_s + np.arange(n) * step_s) * SECOND).astype(np.int64),
        value,
        value,
        np.full(n, quality, np.uint8),
        np.full(n, reason, np.uint8),
        np.ones(n, np.uint32),
    )


def steady(value: float = 320.0, length_s: float = 220.0) -> Columns:
    """Make a steady curve from 10 s before T0."""
    return curve(np.full(int(length_s * 5), value))


def but(columns: Columns, from_s: float, to_s: float, value: float) -> Columns:
    """Put another value between two times, counted from T0."""
    values = columns.value.copy()
    rows = (columns.time >= T0 + from_s * SECOND) & (columns.time < T0 + to_s * SECOND)
    values[rows] = value
    return replace(columns, value=values)


def without(columns: Columns, from_s: float, to_s: float) -> Columns:
    """Take readings out."""
    rows = (columns.time >= T0 + from_s * SECOND) & (columns.time < T0 + to_s * SECOND)
    return columns.take(~rows)


def doubtful(columns: Columns, from_s: float, to_s: float) -> Columns:
    """Make readings uncertain: their time is that of receipt."""
    rows = (columns.time >= T0 + from_s * SECOND) & (columns.time < T0 + to_s * SECOND)
    quality, reason = columns.quality.copy(), columns.reason.copy()
    quality[rows], reason[rows] = Quality.UNCERTAIN, Reason.TIME_OF_RECEIPT
    return replace(columns, quality=quality, reason=reason)


def heat(columns: Columns, standard: float = 1.5, window: Window = WINDOW) -> Evidence:
    """Make what a nozzle temperature is judged by."""
    return Evidence(HEAT, NOZZLE, "Cel", window, budget(standard), columns, 30 * SECOND)


def air(columns: Columns, standard: float = 0.5) -> Evidence:
    """Make what an air flow is judged by."""
    window = Window(45.0, 55.0, "L/min")
    return Evidence(AIR, FLOW, "L/min", window, budget(standard, "L/min"), columns, 30 * SECOND)


def weld(**members: Any) -> Weld:
    """Make a record of 200 s."""
    return replace(
        Weld("w-1", BAY, "a", T0, T0 + 200 * SECOND, "pp", 1, "4711", "12", ended_by="stop"),
        **members,
    )


def case(*given: Evidence | Because, **members: Any) -> Case:
    """Make a case of a sound record; without evidence, one that conforms."""
    evidence = given or (heat(steady()), air(steady(50.0)))
    quantities = (HEAT, AIR)
    named = [
        (e.quantity if isinstance(e, Evidence) else quantities[i], e)
        for i, e in enumerate(evidence)
    ]
    usual: dict[str, Any] = {
        "weld": weld(),
        "procedure": PROCEDURE,
        "overlapping": (),
        "evidence": named,
        "runs": (Run(T0, T0 + 200 * SECOND),),
        "runs_from": "test",
        "seam": SeamFacts(length_mm=1000.0),
    }
    return Case(**{**usual, **members})


def judged(*given: Evidence | Because, **members: Any) -> Verdict:
    """Judge a case by the usual rule."""
    return conclude(case(*given, **members), DecisionRule())


def words(verdict: Verdict) -> Sequence[str]:
    """Give the reasons' words."""
    return [r.why.value for r in verdict.reasons]
