"""One quantity held to its window: averages, gaps, excursions; a record's conditions."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from steadybead_domain.readings import Columns, Quality
from steadybead_domain.times import SECOND
from steadybead_domain.verdict.codec import verdict_json
from steadybead_domain.verdict.curve import good_curve
from steadybead_domain.verdict.judge import judge
from steadybead_domain.verdict.model import Conclusion, Place, Reason, Run, Side, Why
from steadybead_domain.verdict.rule import DecisionRule
from steadybead_domain.verdict.runs import find_runs
from steadybead_domain.verdict.seam import SeamFacts
from verdict_samples import (
    AIR,
    T0,
    air,
    but,
    case,
    curve,
    doubtful,
    heat,
    judged,
    steady,
    weld,
    without,
    words,
)

WHOLE = (Run(T0, T0 + 200 * SECOND),)
RULE = DecisionRule()


def test_a_steady_record_in_the_middle_of_its_windows_conforms() -> None:
    verdict = judged()
    assert verdict.conclusion is Conclusion.CONFORMS
    assert verdict.reasons == ()
    assert [len(j.averages) for j in verdict.judgements] == [20, 20]
    assert [j.share_inside for j in verdict.judgements] == [1.0, 1.0]


def test_a_cold_stretch_does_not_conform_and_is_listed() -> None:
    verdict = judged(heat(but(steady(), 50.0, 70.0, 280.0)), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.DOES_NOT_CONFORM
    (excursion,) = verdict.excursions
    assert (excursion.side, excursion.peak, excursion.limit) == (Side.BELOW, 280.0, 300.0)
    assert excursion.start == T0 + 50 * SECOND
    assert excursion.length_s == pytest.approx(20.0)
    assert excursion.area == pytest.approx(400.0)  # 20 °C below for 20 s
    assert excursion.beyond_doubt
    assert words(verdict) == ["outside the window"]
    assert verdict.judgements[0].share_inside == pytest.approx(0.9)


def test_a_value_nearer_to_the_limit_than_the_guard_band_cannot_be_told() -> None:
    verdict = judged(heat(steady(301.0)), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.CANNOT_TELL
    assert words(verdict) == ["near the limit"]
    assert verdict.excursions == ()


def test_a_short_dip_is_an_excursion_though_the_averages_conform() -> None:
    verdict = judged(heat(but(steady(), 50.0, 50.4, 290.0)), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.CONFORMS
    (excursion,) = verdict.excursions
    assert not excursion.beyond_doubt
    assert excursion.area == pytest.approx(4.0)


def test_pauses_shorter_than_the_rule_join_excursions() -> None:
    columns = but(but(steady(), 50.0, 52.0, 290.0), 53.0, 55.0, 288.0)
    joined = judge(heat(columns), WHOLE, RULE).excursions
    assert [(e.length_s, e.peak) for e in joined] == [(pytest.approx(5.0), 288.0)]
    parted = judge(heat(columns), WHOLE, replace(RULE, join_s=0.5)).excursions
    assert [e.peak for e in parted] == [290.0, 288.0]


def test_missing_readings_are_named_and_support_no_verdict() -> None:
    verdict = judged(heat(without(steady(), 60.0, 90.0)), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.CANNOT_TELL
    assert words(verdict) == ["readings missing"]
    gap = verdict.judgements[0].gaps[0]
    assert gap.end == T0 + 90 * SECOND
    assert 60.0 <= (gap.start - T0) / SECOND <= 62.0  # the last reading holds for 2 s at most
    unsupported = [a for a in verdict.judgements[0].averages if a.place is Place.NO_SUPPORT]
    assert [a.mean for a in unsupported] == [None] * 3


def test_readings_without_a_time_of_their_own_support_no_verdict() -> None:
    verdict = judged(heat(doubtful(steady(), 60.0, 90.0)), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.CANNOT_TELL
    assert words(verdict) == ["readings uncertain"]


def test_uncertain_readings_outside_the_window_show_nothing() -> None:
    columns = doubtful(but(steady(), 60.0, 90.0, 200.0), 60.0, 90.0)
    verdict = judged(heat(columns), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.CANNOT_TELL
    assert verdict.excursions == ()


def test_what_is_outside_beyond_doubt_stands_though_other_readings_are_missing() -> None:
    columns = without(but(steady(), 20.0, 40.0, 270.0), 100.0, 150.0)
    verdict = judged(heat(columns), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.DOES_NOT_CONFORM
    assert words(verdict) == ["outside the window", "readings missing"]


def test_without_any_reading_it_cannot_be_told() -> None:
    verdict = judged(heat(Columns.empty()), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.CANNOT_TELL
    assert words(verdict) == ["no readings"]
    assert verdict.judgements[0].share_inside is None


def test_a_channel_too_uncertain_for_its_window_says_so() -> None:
    verdict = judged(heat(steady(320.0), standard=15.0), air(steady(50.0)))
    assert verdict.conclusion is Conclusion.CANNOT_TELL
    assert words(verdict) == ["too uncertain"]


CONDITIONS = {
    "no procedure": {"procedure": None, "evidence": ()},
    "not stopped": {"weld": weld(stop=None, ended_by="")},
    "stop not told": {"weld": weld(ended_by="next start")},
    "overlapping record": {"overlapping": ("w-2",)},
    "no length": {"weld": weld(stop=T0 + SECOND // 2)},
}


@pytest.mark.parametrize("word", CONDITIONS)
@pytest.mark.parametrize("level", [320.0, 250.0])
def test_a_condition_of_the_record_leaves_nothing_to_tell(word: str, level: float) -> None:
    evidence = case(heat(steady(level)), air(steady(50.0))).evidence
    verdict = judged(**{"evidence": evidence, **CONDITIONS[word]})
    assert verdict.conclusion is Conclusion.CANNOT_TELL
    assert word in words(verdict)


def test_a_calibration_within_the_record_blocks_its_quantity_alone() -> None:
    changed = Reason(Why.CALIBRATION_CHANGED, "changed", T0, T0)
    fine = judged(heat(steady()), changed)
    assert fine.conclusion is Conclusion.CANNOT_TELL
    assert fine.judgements[1].quantity is AIR
    cold = judged(heat(steady(250.0)), changed)
    assert cold.conclusion is Conclusion.DOES_NOT_CONFORM


def test_time_in_the_stand_is_no_run() -> None:
    stand = curve([0.0, 1.0, 0.0], start_s=-5.0, step_s=65.0)  # hung up from 60 s to 125 s
    runs, found_by = find_runs(T0, T0 + 200 * SECOND, stand)
    assert "stand contact" in found_by
    assert [((r.start - T0) / SECOND, (r.end - T0) / SECOND) for r in runs] == [(0, 60), (125, 200)]
    cold = heat(but(steady(), 61.0, 124.0, 200.0))
    assert judged(cold, air(steady(50.0)), runs=runs).conclusion is Conclusion.CONFORMS
    assert judged(cold, air(steady(50.0))).conclusion is Conclusion.DOES_NOT_CONFORM


def test_short_pauses_of_the_hand_stay_in_a_run() -> None:
    motion = curve([1.0, 0.0, 1.0, 0.0, 1.0], start_s=10.0, step_s=2.0)
    runs, _ = find_runs(T0, T0 + 60 * SECOND, None, motion)
    assert len(runs) == 1
    long = curve([1.0, 0.0, 1.0], start_s=10.0, step_s=10.0)
    assert len(find_runs(T0, T0 + 60 * SECOND, None, long)[0]) == 2


def test_a_record_without_a_run_cannot_be_told() -> None:
    verdict = judged(runs=())
    assert verdict.conclusion is Conclusion.CANNOT_TELL
    assert words(verdict)[0] == "no run"


def test_what_the_log_cannot_prove_is_always_there() -> None:
    texts = " ".join(judged().not_proven)
    for word in ("force", "preparation", "stand-off", "which seam", "whose hand", "speed"):
        assert word in texts
    assert "force" not in " ".join(judged(has_force=True).not_proven)
    unknown = " ".join(judged(seam=SeamFacts()).not_proven)
    assert "no length was entered" in unknown


def test_a_verdict_never_says_that_a_weld_passes() -> None:
    for columns in (steady(), steady(301.0), steady(200.0)):
        text = str(verdict_json(judged(heat(columns), air(steady(50.0)))))
        assert "pass" not in text.replace("passed", "")


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.05, 5.0), st.floats(250.0, 400.0), st.sampled_from(list(Quality))),
        min_size=1,
        max_size=80,
    )
)
def test_means_agree_with_a_plain_walk_over_time(
    rows: list[tuple[float, float, Quality]],
) -> None:
    gaps = np.cumsum([r[0] for r in rows])
    columns = replace(
        curve([r[1] for r in rows]),
        time=T0 + (gaps * SECOND).astype(np.int64),
        quality=np.array([r[2] for r in rows], np.uint8),
    )
    found = good_curve(columns, 2 * SECOND)
    edges = T0 + np.arange(0, 60, 7, dtype=np.int64) * SECOND
    means, covered = found.means(edges)
    for i in range(len(edges) - 1):
        total = seconds = 0.0
        for k in range(len(columns)):
            until = columns.time[k] + 2 * SECOND
            if k + 1 < len(columns):
                until = min(until, columns.time[k + 1])
            left, right = max(columns.time[k], edges[i]), min(until, edges[i + 1])
            if columns.quality[k] == Quality.GOOD and right > left:
                seconds += (right - left) / SECOND
                total += columns.value[k] * (right - left) / SECOND
        assert covered[i] == pytest.approx(seconds, abs=1e-6)
        if seconds > 1e-3:
            assert means[i] == pytest.approx(total / seconds, abs=1e-6)
