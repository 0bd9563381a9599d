import numpy as np
import pytest

from calibration_samples import calibration, offset
from steadybead_domain.calibration.correction import corrections
from steadybead_domain.calibration.model import CorrectionKind, Point, in_force


def test_piecewise_goes_straight_between_points_and_holds_beyond() -> None:
    found, left = corrections(calibration())
    assert found == left
    values = np.array([50.0, 101.0, 202.0, 303.0, 402.5, 502.0, 600.0])
    assert left.apply(values) == pytest.approx([49.0, 100.0, 200.0, 300.0, 400.0, 500.0, 598.0])
    assert left.outside(values).tolist() == [True, False, False, False, False, False, True]


def test_two_points_are_one_straight_line() -> None:
    two = calibration(
        kind=CorrectionKind.TWO_POINT, points=(Point(100.0, 102.0), Point(300.0, 306.0))
    )
    _, left = corrections(two)
    factor, shift = left.affine(102.0, 306.0) or (0.0, 0.0)
    assert (factor, shift) == pytest.approx((200 / 204, 0.0), abs=1e-12)
    assert left.apply(np.array([204.0])) == pytest.approx([200.0])
    assert left.affine(101.0, 200.0) is None
    assert left.affine(200.0, 306.1) is None


def test_an_offset_holds_in_the_range_that_was_stated() -> None:
    _, left = corrections(offset(305.0, 300.0))
    assert left.apply(np.array([-10.0, 20.0, 700.0])) == pytest.approx([-15.0, 15.0, 695.0])
    assert left.outside(np.array([-10.0, 20.0, 700.0])).tolist() == [True, False, True]
    assert left.affine(0.0, 600.0) == (1.0, -5.0)


def test_adjusting_separates_as_found_from_as_left() -> None:
    adjusted = calibration(
        points=(Point(100.0, 104.0, 100.1), Point(300.0, 306.0, 300.2), Point(500.0, 508.0, 500.3))
    )
    found, left = corrections(adjusted)
    assert found is not None
    assert found.apply(np.array([306.0])) == pytest.approx([300.0])
    assert left.apply(np.array([300.2])) == pytest.approx([300.0])
    assert adjusted.largest_error_found == 8.0


def test_a_new_instrument_has_no_as_found() -> None:
    new = calibration(points=tuple(Point(p, None, p + 1.0) for p in (100.0, 300.0, 500.0)))
    found, left = corrections(new)
    assert found is None
    assert left.apply(np.array([301.0])) == pytest.approx([300.0])
    assert new.largest_error_found is None


def test_affine_asks_for_one_segment() -> None:
    _, left = corrections(calibration())
    assert left.affine(101.0, 303.0) is not None
    assert left.affine(303.0, 502.0) is not None
    assert left.affine(302.9, 303.1) is None


def test_the_newest_revision_counts_and_withdrawn_ones_do_not() -> None:
    first, second = calibration(), calibration(revision=2, note="typing error")
    other = calibration(id="cal-2", withdrawn=True)
    assert in_force([second, first, other]) == [second]
    assert in_force([first, calibration(revision=3, withdrawn=True)]) == []
