from dataclasses import replace

import numpy as np
import pytest

from calibration_samples import CHANNEL, FITTING, NOW, OTHER_CHANNEL, calibration, offset
from steadybead_domain.calibration.model import Fitting, Point
from steadybead_domain.calibration.timeline import Timeline, correct, correct_buckets, timeline
from steadybead_domain.conversion.units import UnitError
from steadybead_domain.readings import Buckets
from steadybead_domain.times import DAY, HOUR


def values_at(line: Timeline, *days: float, value: float = 300.0) -> list[float]:
    time = np.array([NOW + round(d * DAY) for d in days], np.int64)
    return [float(v) for v in correct(line, time, np.full(len(days), value)).value]


def test_nothing_is_corrected_before_a_calibration_holds() -> None:
    line = timeline(CHANNEL, "Cel", [FITTING], [offset(305.0, 300.0)])
    assert values_at(line, -200, -99, -10.001, -10, 0) == [300.0, 300.0, 300.0, 295.0, 295.0]
    corrected = correct(line, np.array([NOW - 99 * DAY, NOW]), np.array([300.0, 700.0]))
    assert corrected.calibrated.tolist() == [False, True]
    assert corrected.outside.tolist() == [False, True]


def test_an_earlier_effective_time_corrects_back_by_the_as_found_points() -> None:
    adjusted = offset(305.0, 300.0, effective=NOW - 30 * DAY)
    adjusted = replace(adjusted, points=(Point(300.0, 305.0, 300.5),))
    line = timeline(CHANNEL, "Cel", [FITTING], [adjusted])
    assert values_at(line, -31, -30, -10.001, -10) == [300.0, 295.0, 295.0, 299.5]


def test_each_calibration_holds_until_the_next() -> None:
    first = offset(305.0, 300.0, id="a", performed=NOW - 50 * DAY, effective=NOW - 50 * DAY)
    second = offset(302.0, 300.0, id="b")
    line = timeline(CHANNEL, "Cel", [FITTING], [second, first])
    assert values_at(line, -60, -50, -11, -10) == [300.0, 295.0, 295.0, 298.0]
    assert line.edges(NOW - 60 * DAY, NOW) == [NOW - 50 * DAY, NOW - 10 * DAY]
    assert line.at(NOW).calibration == second


def test_a_calibration_follows_its_instrument_from_channel_to_channel() -> None:
    moved = [
        Fitting("tc-7", CHANNEL, NOW - 20 * DAY, NOW - 5 * DAY),
        Fitting("tc-7", OTHER_CHANNEL, NOW - 5 * DAY),
        Fitting("tc-8", CHANNEL, NOW - 4 * DAY),
    ]
    here = timeline(CHANNEL, "Cel", moved, [offset(305.0, 300.0)])
    there = timeline(OTHER_CHANNEL, "Cel", moved, [offset(305.0, 300.0)])
    assert values_at(here, -19, -9, -4.5, -3) == [300.0, 295.0, 300.0, 300.0]
    assert values_at(there, -9, -4.5, 0) == [300.0, 295.0, 295.0]
    assert [here.at(NOW + d * DAY).instrument for d in (-19, -4, -5, -30)] == [
        "tc-7",
        "tc-8",
        None,
        None,
    ]


def test_a_newly_fitted_instrument_brings_its_last_calibration_along() -> None:
    fitted = Fitting("tc-7", CHANNEL, NOW - 2 * DAY)
    line = timeline(CHANNEL, "Cel", [fitted], [offset(305.0, 300.0)])
    assert values_at(line, -3, -1) == [300.0, 295.0]


def test_a_calibration_after_removal_changes_nothing_on_the_old_channel() -> None:
    ended = replace(FITTING, end=NOW - 5 * DAY)
    later = offset(305.0, 300.0, performed=NOW - 3 * DAY, effective=NOW - 3 * DAY)
    assert values_at(timeline(CHANNEL, "Cel", [ended], [later]), -6, -4, -2, 0) == [300.0] * 4


def test_units_of_the_bench_are_converted() -> None:
    in_f = offset(581.0, 572.0, unit="degF")
    in_f = replace(in_f, valid_low=32.0, valid_high=1112.0)
    line = timeline(CHANNEL, "Cel", [FITTING], [in_f])
    assert values_at(line, 0) == pytest.approx([295.0])
    with pytest.raises(UnitError, match="unit 'Pa' does not fit"):
        timeline(CHANNEL, "Cel", [FITTING], [replace(in_f, unit="Pa")])


def test_recorded_values_stay_as_they_are() -> None:
    recorded = np.array([300.0, 310.0])
    line = timeline(CHANNEL, "Cel", [FITTING], [offset(305.0, 300.0)])
    correct(line, np.array([NOW, NOW]), recorded)
    assert recorded.tolist() == [300.0, 310.0]


def test_summaries_are_recalibrated_only_where_that_is_exact() -> None:
    start = np.array([NOW - 12 * DAY, NOW - 10 * DAY - HOUR, NOW, NOW + HOUR, NOW + 2 * HOUR])
    buckets = Buckets(
        start,
        start + 2 * HOUR,
        np.array([5, 5, 5, 5, 0]),
        np.array([200.0, 200.0, 150.0, 290.0, np.nan]),
        np.array([250.0, 250.0, 202.0, 300.0, np.nan]),
        np.array([300.0, 300.0, 250.0, 310.0, np.nan]),
        np.zeros(5, np.uint8),
    )
    line = timeline(CHANNEL, "Cel", [FITTING], [calibration()])
    corrected, exact = correct_buckets(line, buckets)
    assert exact.tolist() == [True, False, True, False, True]
    assert corrected.mean[2] == pytest.approx(200.0)
    assert corrected.mean[:2].tolist() == [250.0, 250.0]
    assert np.isnan(corrected.mean[4])
    assert buckets.mean[2] == 202.0
