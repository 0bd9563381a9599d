import pytest

from steadybead_dashboards.gauge import EDGE, GROOVE_LEFT, GROOVE_RIGHT, WIDTH, Place, gauge


@pytest.mark.parametrize(
    ("value", "place", "x"),
    [
        (300.0, Place.INSIDE, GROOVE_LEFT),
        (320.0, Place.INSIDE, WIDTH / 2),
        (340.0, Place.INSIDE, GROOVE_RIGHT),
        (299.9, Place.LOW, GROOVE_LEFT),
        (340.1, Place.HIGH, GROOVE_RIGHT),
    ],
)
def test_the_window_is_the_groove(value: float, place: Place, x: float) -> None:
    at = gauge(value, 300.0, 340.0)
    assert at.place is place
    assert at.x == pytest.approx(x, abs=0.2)
    assert not at.off_scale


def test_far_values_are_held_at_the_ends_and_say_so() -> None:
    assert gauge(20.0, 300.0, 340.0).x == EDGE
    assert gauge(900.0, 300.0, 340.0).x == WIDTH - EDGE
    assert gauge(20.0, 300.0, 340.0).off_scale
    assert gauge(900.0, 300.0, 340.0).off_scale


def test_no_value_and_no_window_are_places_of_their_own() -> None:
    assert gauge(None, 300.0, 340.0).place is Place.NO_VALUE
    assert gauge(1.0, None, None).place is Place.NO_WINDOW


@pytest.mark.parametrize(
    ("value", "low", "high", "place"),
    [
        (44.0, 45.0, None, Place.LOW),
        (1000.0, 45.0, None, Place.INSIDE),
        (251.0, None, 250.0, Place.HIGH),
        (-5.0, None, 250.0, Place.INSIDE),
        (1.0, 0.0, None, Place.INSIDE),
        (5.0, 5.0, 5.0, Place.INSIDE),
    ],
)
def test_open_and_pointed_windows(
    value: float, low: float | None, high: float | None, place: Place
) -> None:
    at = gauge(value, low, high)
    assert at.place is place
    assert EDGE <= at.x <= WIDTH - EDGE
