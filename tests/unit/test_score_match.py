"""What counts as found, wrong, honest or false, on cases made by hand."""

from dataclasses import replace

import numpy as np
import pytest

from bench.score_events import NOTHING, false_alarm, losses, range_events
from bench.score_match import (
    MEANT,
    Outcome,
    flow_lost_pct,
    judge,
    score_fault,
    score_faults,
    shifts_between,
)
from bench.score_shop import FAST, SLOW, Span, bay, clean, spans, us
from bench.score_walk import Block, Told, Walked
from simulated_shop import MONDAY, fault, with_faults
from steadybead_domain.times import DAY, HOUR, MINUTE, SECOND
from steadybead_simulator.campaign import TYPICAL
from steadybead_simulator.faults import Fault
from steadybead_simulator.truth import Truth

NOON_S = 10 * 3600.0


def told(kind: str, at_s: float, **more: object) -> Told:
    return replace(Told(kind, "a", None, us(at_s)), **more)  # type: ignore[arg-type]


def block(at_s: float, *, busy: tuple[str, ...] = ("a",), flow: float = 50.0) -> Block:
    return Block(us(at_s), 1.0, bool(busy), 320.0, flow, 80.0, busy, dict.fromkeys(busy, flow))


def walked(*faults: Fault, level: str = "full", days: int = 4) -> Walked:
    plant, station = bay(level, 1)
    span = Span("fast", level, 1, days, with_faults(faults), plant, station)
    seen = Walked(span, end=MONDAY + days * DAY)
    for day in range(days):
        seen.blocks += [block(day * 86_400 + 7 * 3600 + 300 * i) for i in range(60)]
    return seen


def test_every_scored_kind_has_a_meaning_and_a_typical_size() -> None:
    assert set(MEANT) == set(FAST) | set(SLOW)
    assert set(MEANT) <= set(TYPICAL)
    assert all(MEANT[k].slow for k in SLOW)
    assert not any(MEANT[k].slow for k in FAST)


def test_no_kind_is_right_and_a_mere_sign_at_once() -> None:
    for meant in MEANT.values():
        assert meant.right
        assert not meant.right & meant.sign - {"element_warm_up_slow"}


DRIFT = MEANT["thermocouple_offset"]


@pytest.mark.parametrize(
    ("said", "outcome", "first"),
    [
        ([], Outcome.MISSED, None),
        (["filter_forecast", "station_silent"], Outcome.MISSED, None),
        (["thermocouple_drift"], Outcome.RIGHT, "thermocouple_drift"),
        (["heat_high"], Outcome.SIGN, "heat_high"),
        (["heat_high", "thermocouple_drift"], Outcome.RIGHT, "heat_high"),
        (["flow_meter_drift"], Outcome.WRONG, "flow_meter_drift"),
        (["flow_meter_drift", "thermocouple_drift"], Outcome.WRONG, "flow_meter_drift"),
        (["thermocouple_drift", "flow_meter_drift"], Outcome.RIGHT, "thermocouple_drift"),
        (["heat_high", "supply_voltage"], Outcome.WRONG, "supply_voltage"),
        (["flow_low", "filter_due"], Outcome.MISSED, None),
        (["filter_blocked"], Outcome.WRONG, "filter_blocked"),
    ],
)
def test_the_first_word_that_names_a_cause_decides(
    said: list[str], outcome: Outcome, first: str | None
) -> None:
    verdict, word = judge(DRIFT, [told(k, NOON_S + i) for i, k in enumerate(said)])
    assert verdict is outcome
    assert (word and word.kind) == first


def test_doubt_is_honest_only_if_the_right_cause_is_among_those_named() -> None:
    honest = told("drift_cannot_tell", 1.0, causes=("flow_meter_drift", "thermocouple_drift"))
    off = told("drift_cannot_tell", 1.0, causes=("flow_meter_drift", "element_ageing"))
    assert judge(DRIFT, [honest])[0] is Outcome.CANNOT_TELL
    assert judge(DRIFT, [off])[0] is Outcome.WRONG
    assert judge(DRIFT, [honest, told("thermocouple_drift", 2.0)])[0] is Outcome.RIGHT
    assert judge(DRIFT, [honest, told("element_ageing", 2.0)])[0] is Outcome.CANNOT_TELL


def test_only_what_is_said_during_the_fault_or_just_after_counts() -> None:
    wrong = fault("open_circuit", NOON_S, NOON_S + 3600.0, place="gun-a/nozzle")
    seen = walked(wrong)
    for at_s, outcome in (
        (NOON_S - 1, Outcome.MISSED),
        (NOON_S + 2, Outcome.RIGHT),
        (NOON_S + 3600 + 14 * 60, Outcome.RIGHT),
        (NOON_S + 3600 + 16 * 60, Outcome.MISSED),
    ):
        seen.told = [told("sensor_open_circuit", at_s)]
        scored = score_fault(seen, wrong)
        assert scored.outcome is outcome
    seen.told = [told("sensor_open_circuit", NOON_S + 2)]
    assert score_fault(seen, wrong).delay_s == pytest.approx(2.0)


def test_another_gun_or_an_alarm_that_ends_is_no_answer() -> None:
    wrong = fault("open_circuit", NOON_S, NOON_S + 3600.0, place="gun-a/nozzle")
    seen = walked(wrong)
    seen.told = [
        told("sensor_open_circuit", NOON_S + 2, gun="b"),
        told("sensor_open_circuit", NOON_S + 3, active=False),
    ]
    assert score_fault(seen, wrong).outcome is Outcome.MISSED


def test_a_fault_on_a_gun_that_nobody_uses_is_not_scored_as_missed() -> None:
    wrong = fault("nozzle_clogged", NOON_S, NOON_S + 3600.0, size=40.0, place="b")
    assert score_fault(walked(wrong), wrong).outcome is Outcome.IDLE


def test_an_answer_to_the_next_fault_is_none_to_the_one_before() -> None:
    first = fault("thermocouple_offset", NOON_S, NOON_S + 3600, size=9.0, place="gun-a/nozzle")
    second = fault("tube_off", NOON_S + 86_400, NOON_S + 90_000, place="air/filter")
    seen = walked(first, second)
    seen.told = [told("filter_fell", NOON_S + 86_500)]
    assert [s.outcome for s in score_faults(seen)] == [Outcome.MISSED, Outcome.RIGHT]


def test_what_the_product_says_it_cannot_see_is_told_from_a_miss() -> None:
    small = fault("thermocouple_offset", NOON_S, NOON_S + 3600, size=4.0, place="gun-a/nozzle")
    seen = walked(small)
    for smallest, outcome in (
        (None, Outcome.NOT_DETECTABLE),
        (6.0, Outcome.NOT_DETECTABLE),
        (3.0, Outcome.MISSED),
    ):
        seen.scopes = {small.id: {"thermocouple_drift": smallest}}
        assert score_fault(seen, small).outcome is outcome
    torn = fault("filter_torn", NOON_S, NOON_S + 3600, size=50.0)
    assert score_fault(walked(torn, level="least"), torn).outcome is Outcome.NO_CHANNEL
    assert score_fault(walked(torn), torn).outcome is Outcome.MISSED


def test_a_word_on_what_people_did_meanwhile_is_neither_right_nor_wrong() -> None:
    wrong = fault("thermocouple_offset", NOON_S, NOON_S + 7200, size=9.0, place="gun-a/nozzle")
    seen = walked(wrong)
    seen.told = [told("filter_fell", NOON_S + 3600)]
    assert score_fault(seen, wrong).outcome is Outcome.WRONG
    seen.truth = [Truth("act", "filter_changed", "c", "bay-1", None, None, us(NOON_S + 60))]
    assert score_fault(seen, wrong).outcome is Outcome.MISSED


def test_shifts_are_counted_from_that_of_the_onset() -> None:
    blocks = walked().blocks
    assert shifts_between(blocks, us(NOON_S), us(NOON_S + 60)) == 1
    assert shifts_between(blocks, us(NOON_S), us(NOON_S + 2 * 86_400)) == 3


def test_lost_flow_is_what_the_meters_showed() -> None:
    blocks = [block(300.0 * i, flow=50.0 if i < 10 else 45.0) for i in range(20)]
    assert flow_lost_pct(blocks, "a", us(2850.0), us(6000.0)) == pytest.approx(10.0)
    assert flow_lost_pct(blocks, "b", us(2850.0), us(6000.0)) == float("inf")


def samples(values: list[float]) -> tuple[np.ndarray, np.ndarray]:
    return us(NOON_S) + np.arange(len(values)) * SECOND, np.array(values)


def test_a_loss_of_air_is_dated_by_the_first_reading_that_shows_it() -> None:
    hot = samples([320.0] * 30)
    assert losses(samples([50.0] * 10 + [0.0] * 20), hot) == [us(NOON_S + 10)]
    assert losses(samples([50.0] * 10 + [0.0] * 2 + [50.0] * 18), hot) == []
    assert losses(samples([50.0] * 10 + [20.0] * 20), hot) == []
    assert losses(samples([50.0] * 10 + [0.0] * 20), samples([90.0] * 30)) == []
    assert losses(NOTHING, hot) == []


@pytest.mark.parametrize(
    ("nozzle_c", "alarm_s", "delays"),
    [
        (320.0, 110.0, [10.0]),
        (320.0, None, [None]),
        (320.0, 300.0, [None]),
        (150.0, None, []),
    ],
)
def test_out_of_range_counts_in_a_true_weld_at_a_hot_gun(
    nozzle_c: float, alarm_s: float | None, delays: list[float | None]
) -> None:
    seen = walked()
    seen.samples = {
        "gun-a/flow": samples([50.0] * 100 + [30.0] * 60 + [50.0] * 300),
        "gun-a/nozzle": samples([nozzle_c] * 460),
    }
    weld = Truth("weld", "weld", "w", "bay-1", "a", None, us(NOON_S), us(NOON_S + 460))
    seen.truth = [weld]
    if alarm_s is not None:
        seen.told = [told("flow_low", NOON_S + alarm_s, is_alarm=True)]
    assert [e.delay_s for e in range_events(seen)] == delays


def test_an_alarm_without_a_fault_is_false_only_if_the_readings_do_not_bear_it_out() -> None:
    seen = walked()
    seen.samples = {
        "gun-a/flow": samples([50.0] * 60 + [0.0] * 60),
        "gun-a/nozzle": samples([320.0] * 120),
    }
    assert false_alarm(seen, told("air_lost_heat_on", NOON_S + 50))
    assert not false_alarm(seen, told("air_lost_heat_on", NOON_S + 62))
    assert false_alarm(seen, told("heat_high", NOON_S + 60))
    assert false_alarm(seen, told("flow_low", NOON_S + 60))
    assert not false_alarm(seen, told("flow_low", NOON_S + 72))
    assert false_alarm(seen, told("thermocouple_drift", NOON_S + 60))
    assert not false_alarm(seen, told("filter_forecast", NOON_S + 60))


def test_a_fall_of_the_drop_is_true_on_the_day_of_a_change() -> None:
    seen = walked()
    change = Truth("act", "filter_changed", "c", "bay-1", None, None, us(NOON_S))
    fell = told("filter_fell", NOON_S + 3600)
    assert false_alarm(seen, fell)
    seen.truth = [change]
    assert not false_alarm(seen, fell)
    assert false_alarm(seen, replace(fell, time=us(NOON_S) + DAY + HOUR))


def test_a_filter_nears_its_limit_only_if_its_drop_does() -> None:
    seen = walked(level="usual")
    assert false_alarm(seen, told("filter_due", NOON_S))
    seen.blocks = [replace(b, drop_pa=100.0) for b in seen.blocks]
    assert not false_alarm(seen, told("filter_due", NOON_S))
    assert false_alarm(seen, told("filter_limit", NOON_S))


def test_the_short_form_has_38_spans_and_all_seeds_are_apart() -> None:
    short, whole = list(spans(1, 1000, short=True)), list(spans(2, 1000, short=False))
    assert len(short) == 38
    for many in (short, whole):
        assert len({s.seed for s in many}) == len(many)
        assert min(s.seed for s in many) >= 1000
    assert all(len(s.faults) == 1 for s in short if s.kind in ("fast", "drift"))
    assert {s.kind for s in whole} == {"clean", "fast", "slow", "drift", "filter"}


def test_slow_faults_leave_two_weeks_to_learn_and_checks_belong_to_the_full_level() -> None:
    for span in spans(3, 1000, short=False):
        if span.kind == "slow":
            assert all(f.start_s >= 14 * 86_400 for f in span.faults)
        assert span.has_checks == (span.level == "full")
    assert clean("usual", 1, 2).faults == ()
    names = {c.id.channel for c in bay("full", 1)[1].channels}
    assert not names & {"gun-a/probe", "gun-a/held"}
    assert MINUTE == 60 * SECOND
