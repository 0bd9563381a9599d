"""The scoreboard's short form runs, matches told and true, and shows what must always hold."""

import pytest

from bench.score import head_of, score
from bench.score_match import Outcome
from bench.score_picture import picture
from bench.score_report import report
from bench.score_shop import NO_CHECKS

SEED = 1000
KINDS_AT_ONCE = ("hose_off", "air_stopped_before_cool")


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_the_short_form_of_the_scoreboard() -> None:
    said: list[str] = []
    results, _ = score(1, SEED, short=True, say=said.append)
    frames = results.frames()
    spans, faults, events = frames["spans"], frames["faults"], frames["events"]

    assert len(spans) == len(said) == 38
    assert spans.groupby("kind").size().to_dict() == {
        "clean": 9,
        "drift": 2,
        "fast": 21,
        "filter": 6,
    }
    assert len(results.drifts) == 2
    assert set(frames["drifts"]["level"]) == {"full", NO_CHECKS}
    assert len(faults) >= 19
    assert (faults["outcome"] != Outcome.IDLE).sum() >= 14
    assert (faults["outcome"] == Outcome.RIGHT).sum() >= 7

    # robust: a loss of air is always told in time, a hose that is off never missed
    air = events[events["what"] == "air lost"]
    assert len(air) >= 5
    assert (air["delay_s"] <= 2.0).all()
    sudden = faults[faults["kind"].isin(KINDS_AT_ONCE)]
    assert not sudden["outcome"].isin([Outcome.MISSED, Outcome.WRONG]).any()
    # generous: nine clean spans of three days and what lies before the faults
    assert len(frames["false"]) <= 6
    # each filter is followed to its limit, and none is told only after it
    assert spans["reached"].sum() >= 5
    own = frames["runs"][frames["runs"]["method"] == "Steadybead"]
    assert (own["alert_h"] > 0).mean() >= 0.8

    assert report(frames, head_of(results, SEED, 1.0, short=True)).count("| ") > 50
    assert picture(faults, frames["taken"]).startswith("<svg")
