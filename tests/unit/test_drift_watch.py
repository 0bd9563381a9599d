"""The drift watch on a made-up gun: found, named, or honestly not told."""

import numpy as np
import pytest

from drift_shop import FULL, NO_POWER, Shop, Wrong, make_station, run, traces_of
from steadybead_domain.diagnosis.feature import FIRST, SEEN_IN_FIVE, Feature, FeatureFacts
from steadybead_domain.diagnosis.finding import Finding, Sureness

ONSET = 8
SHIFTS = 14
OWN_SENSOR = Wrong(own_sensor_c=10.0)


def told(
    wrong: Wrong,
    seed: int,
    *,
    names: tuple[str, ...] = FULL,
    regulated: bool = True,
    probe_sd: float | None = None,
) -> list[tuple[int, Finding]]:
    station = make_station(names, regulated=regulated)
    shop = Shop(seed, regulated=regulated)
    _, found = run(station, shop, {ONSET: wrong}, SHIFTS, probe_sd=probe_sd)
    return found


def last(found: list[tuple[int, Finding]]) -> Finding:
    assert found, "nothing was found"
    return found[-1][1]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("probe_sd", [None, 0.8])
def test_nothing_is_found_where_nothing_is_wrong(seed: int, probe_sd: float | None) -> None:
    assert told(Wrong(), seed, probe_sd=probe_sd) == []


@pytest.mark.parametrize("seed", range(10, 14))
def test_checks_find_three_degrees_within_five_shifts(seed: int) -> None:
    found = told(Wrong(nozzle_c=3.0), seed, probe_sd=0.6)
    assert found[0][0] < ONSET + 5
    assert last(found).kind == "thermocouple_drift"
    size = dict(last(found).evidence)["size of thermocouple_drift"]
    assert size == pytest.approx(3.0, abs=1.2)


@pytest.mark.parametrize("size_c", [-12.0, 12.0])
def test_power_and_flow_find_that_something_drifts_but_not_what(size_c: float) -> None:
    found = told(Wrong(nozzle_c=size_c), 21)
    first = found[0][1]
    assert found[0][0] < ONSET + 5
    assert first.kind == "drift_cannot_tell"
    assert first.sureness is Sureness.CANNOT_TELL
    shares = dict(first.evidence)
    assert "share of thermocouple_drift" in shares
    assert "share of flow_meter_drift" in shares
    assert "needle probe" in first.next_step
    assert "flow meter" in first.next_step


def test_checks_then_name_the_flow_meter() -> None:
    finding = last(told(Wrong(flow_pct=6.0), 31, probe_sd=0.8))
    assert finding.kind == "flow_meter_drift"
    assert finding.channel is not None
    assert finding.channel.channel == "gun-a/flow"


@pytest.mark.parametrize(
    ("wrong", "kind"),
    [
        (Wrong(flow_lost_pct=15.0), "flow_loss"),
        (Wrong(resistance_pct=9.0), "element_ageing"),
        (Wrong(supply_pct=8.0), "supply_voltage"),
        (Wrong(nozzle_offset_c=6.0), "thermocouple_drift"),
        (Wrong(flow_zero=3.0), "flow_meter_drift"),
    ],
)
def test_each_cause_is_named(wrong: Wrong, kind: str) -> None:
    found = told(wrong, 41)
    assert found[0][0] < ONSET + 5
    assert {f.kind for _, f in found} == {kind}


def test_a_gun_on_its_own_sensor_shows_drift_against_the_set_value() -> None:
    assert last(told(Wrong(nozzle_c=10.0), 51, regulated=False)).kind == "thermocouple_drift"
    assert last(told(OWN_SENSOR, 52, regulated=False)).kind == "controller_drift"


def test_without_power_the_two_cannot_be_told_apart() -> None:
    for wrong in (Wrong(nozzle_c=10.0), OWN_SENSOR):
        finding = last(told(wrong, 61, names=NO_POWER, regulated=False))
        assert finding.kind == "drift_cannot_tell"


def test_without_power_and_regulated_it_says_not_detectable() -> None:
    station = make_station(NO_POWER, regulated=True)
    health, found = run(station, Shop(71), {ONSET: Wrong(nozzle_c=10.0)}, SHIFTS)
    assert found == []
    scope = {s.cause: s for s in health.drift.scope()}["thermocouple_drift"]
    assert scope.smallest is None
    assert "not detectable with the channels at hand" in scope.words


def test_opening_the_valve_is_no_finding() -> None:
    assert told(Wrong(flow_lost_pct=-14.0), 81) == []


def test_another_sensor_is_learnt_anew_from_its_time_on() -> None:
    station, wrong = make_station(), {ONSET: Wrong(nozzle_offset_c=6.0), SHIFTS: Wrong()}
    _, found = run(station, Shop(91), wrong, SHIFTS + 6, refit_on=SHIFTS)
    assert {day < SHIFTS for day, f in found} == {True}
    health, _ = run(station, Shop(91), wrong, SHIFTS + 2, refit_on=SHIFTS)
    assert health.drift.told is None
    assert all("not detectable" in s.words for s in health.drift.scope())


def test_a_fitting_from_before_anything_was_learnt_forgets_nothing() -> None:
    station = make_station()
    health, _ = run(station, Shop(92), {}, SHIFTS)
    health.refit(0)
    start, columns, states = Shop(92).shift(SHIFTS, Wrong())
    health.update(start, traces_of(station, columns, slice(None)), states)
    assert any(s.smallest is not None for s in health.drift.scope())


def test_a_drift_that_is_over_is_told_so_once() -> None:
    faults = {ONSET: Wrong(nozzle_offset_c=6.0), ONSET + 4: Wrong()}
    _, found = run(make_station(), Shop(93), faults, SHIFTS + 6)
    kinds = [f.kind for _, f in found]
    assert kinds[0] == "thermocouple_drift"
    assert kinds[-1] == "drift_over"
    assert kinds.count("drift_over") == 1
    assert "thermocouple drift is over" in found[-1][1].words


def shifted(size: float, most: int, seed: int) -> int:
    """Count the points to a signal after a shift of so many σ at point 10; 99: never."""
    rng = np.random.default_rng(seed)
    feature = Feature(FeatureFacts("%", 1.0, most=most))
    for i in range(10):
        feature.add(i, rng.normal())
        if feature.side:
            return 99
    for i in range(12):
        feature.add(10 + i, rng.normal() + size)
        if feature.side:
            return i + 1
    return 99


@pytest.mark.parametrize("most", [6, 15])
def test_the_promised_size_is_seen_within_five_points(most: int) -> None:
    """The promise counts the spread of the level learnt from six points."""
    size = SEEN_IN_FIVE * np.sqrt(1 + 1 / 6)
    within = np.mean([shifted(size, most, seed) <= 5 for seed in range(400)])
    assert within >= 0.88


def test_false_signals_are_rare() -> None:
    assert np.mean([shifted(0.0, 6, seed) != 99 for seed in range(400)]) < 0.04


def test_a_wild_first_check_signals_before_anything_is_learnt() -> None:
    feature = Feature(FeatureFacts("Cel", 1.0, 5.0))
    feature.add(1, 25.0)
    assert feature.side == 1
    assert not feature.learnt
    assert feature.shift(1) == pytest.approx((25.0, np.sqrt(26.0)))


def test_a_feature_charts_from_the_fifth_point() -> None:
    feature = Feature(FeatureFacts("%", 1.0))
    for i in range(FIRST):
        assert not feature.ready
        feature.add(i, 3.0)
    assert feature.ready
    for i in range(3):
        feature.add(10 + i, 9.0)
    assert feature.side == 1
    assert feature.onset() == 10
    shift = feature.shift(10)
    assert shift is not None
    assert shift[0] == pytest.approx(6.0)
