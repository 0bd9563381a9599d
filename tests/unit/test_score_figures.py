"""The scoreboard's figures on cases made by hand, and the EWMA limit by published tables."""

import json

import numpy as np
import pandas as pd
import pytest

from bench.score_baselines import ewma_limit, ewma_run_length
from bench.score_filter import SHARES, Life, Taken, run_of, taken
from bench.score_goals import goals
from bench.score_match import Outcome, Scored
from bench.score_picture import picture
from bench.score_report import BEGIN, END, report, to_json
from bench.score_tables import Results, by_kind, false_rates, found_by_level


def life() -> Life:
    run_h = np.arange(0.0, 120.0, 0.5)
    time = (run_h * 3600e6).astype(np.int64)
    return Life("usual", 1, time, run_h, 40.0 + run_h, 140.0, 100.0)


def test_an_interval_is_taken_once_at_each_share_of_the_life() -> None:
    told = [(h, 80.0 - h, 100.0 - h, 130.0 - h) for h in np.arange(0.0, 100.0, 4.0).tolist()]
    rows = taken("m", life(), told)
    assert [r.share for r in rows] == list(SHARES)
    assert all(r.middle_h == pytest.approx(r.true_h) for r in rows)
    assert all(0 <= (100.0 - r.true_h) - 100.0 * r.share < 8.0 for r in rows)
    assert taken("m", life(), told[:2]) == []


def test_foreseen_asks_for_the_right_hours_three_shifts_ahead() -> None:
    assert run_of("m", life(), [(70.0, 20.0, 30.0, 40.0)], 80.0).foreseen
    assert run_of("m", life(), [(70.0, 20.0, 30.0, 40.0)], 80.0).alert_h == pytest.approx(20.0)
    assert not run_of("m", life(), [(70.0, 60.0, 90.0, 99.0)], 80.0).foreseen
    assert not run_of("m", life(), [(80.0, 10.0, 20.0, 40.0)], None).foreseen
    assert run_of("m", life(), [], 103.0).alert_h == pytest.approx(-3.0)


def test_the_ewma_limit_gives_the_published_run_lengths() -> None:
    """Lucas & Saccucci, Technometrics 32 (1990) 1-12: ARL 500 at λ 0.1, L 2.814; 0.25, 2.998."""
    assert ewma_run_length(0.1, 2.814) == pytest.approx(500.0, rel=0.01)
    assert ewma_run_length(0.25, 2.998) == pytest.approx(500.0, rel=0.01)
    limit = ewma_limit(0.2, 70_000.0)
    assert ewma_run_length(0.2, limit) == pytest.approx(70_000.0, rel=0.01)


def scored(kind: str, level: str, outcome: Outcome, shifts: int | None = None) -> Scored:
    delay = None if shifts is None else 86_400.0 * shifts
    return Scored(kind, level, 1000, "f", 3.0, outcome, "", delay, shifts)


def results() -> Results:
    made = Results()
    made.spans = [
        {"kind": "clean", "level": lev, "seed": 1, "months": 1.0, "free": 10.0, "late": 0}
        for lev in ("full", "usual")
    ]
    made.false = [{"level": "full", "seed": 1001, "kind": "flow_loss", "time": 0}]
    made.faults = [
        scored("stuck", "full", Outcome.RIGHT, 1),
        scored("stuck", "full", Outcome.MISSED),
        scored("stuck", "least", Outcome.WRONG, 1),
        scored("stuck", "least", Outcome.IDLE),
    ]
    made.drifts = [scored("thermocouple_offset", "full", Outcome.RIGHT, n) for n in (2, 3, 6)]
    rows = [(0.5, 40.0, 30.0, 44.0, 60.0), (0.7, 30.0, 32.0, 40.0, 50.0)]
    made.taken = [Taken("Steadybead", "usual", 1, *row) for row in rows]
    made.runs = [run_of("Steadybead", life(), [(70.0, 20.0, 30.0, 40.0)], 80.0)]
    return made


def test_outcomes_are_counted_by_kind_and_level() -> None:
    frames = results().frames()
    table = by_kind(frames["faults"]).set_index(["kind", "level"])
    assert table.loc[("stuck", "full"), "faults"] == 2
    assert table.loc[("stuck", "least"), Outcome.WRONG] == 1
    assert found_by_level(frames["faults"]) == {"stuck": "1/2 · – · 0/1"}


def test_false_findings_are_counted_by_fault_free_month() -> None:
    frames = results().frames()
    rates = false_rates(frames["spans"], frames["false"]).set_index("level")["rate"]
    assert rates.to_dict() == pytest.approx({"full": 0.1, "usual": 0.0, "all": 0.05})


def test_goals_are_held_to_the_figures() -> None:
    met = {(g.name[:28], g.level): g for g in goals(results().frames())}
    drift = met["thermocouple off by 3 °C, wi", "full"]
    assert (drift.figure, drift.met, drift.n) == ("67%", False, 3)
    names = {g.name: g for g in goals(results().frames())}
    error = names["filter: median error of the remaining hours at half life"]
    assert (error.figure, error.met) == ("10.0%", True)
    cover = names["filter: 80 % intervals that cover, at 30, 50, 70, 85 % of life"]
    assert (cover.figure, cover.met) == ("50%", False)
    unused = names["filter: median unused life at the alert"]
    assert (unused.figure, unused.met) == ("20%", True)
    right = names["right cause, where one is named"]
    assert (right.figure, right.n) == ("80%", 5)


def test_the_report_stands_between_its_markers_and_the_rest_is_read_back() -> None:
    frames = results().frames()
    text = report(frames, "head\n")
    inside = text.split(BEGIN)[1].split(END)[0]
    assert "| stuck | 3 | 1 | 0 | 0 | 1 | 0 | 1 |" in inside
    assert "flow_loss 1 (e.g. seed 1001)" in inside
    data = json.loads(to_json(frames, {"seed": 1000}))
    assert data["seed"] == 1000
    assert len(data["faults"]) == 4
    assert picture(frames["faults"], frames["taken"]).count("<circle") == 2


def test_an_empty_run_gives_a_report_without_figures() -> None:
    empty = Results()
    empty.spans = [{"kind": "clean", "level": "full", "seed": 1, "months": 0.1, "free": 0.1}]
    assert BEGIN in report(empty.frames(), "head\n")
    assert by_kind(pd.DataFrame()).empty
