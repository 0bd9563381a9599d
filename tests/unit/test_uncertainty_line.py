import numpy as np
import pytest
from scipy import stats

from steadybead_domain.uncertainty.line import fit_line

# JCGM 100:2008, table H.6 (also in R: errors::GUM.H.3): thermometer reading and correction, °C
READ_C = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION_C = np.array(
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
)


def test_gum_h3_calibration_of_a_thermometer() -> None:
    """JCGM 100:2008, H.3: all printed results of the fit about 20 °C."""
    line = fit_line(READ_C, CORRECTION_C, origin=20.0)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.u_intercept == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.u_slope == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual == pytest.approx(0.0035, abs=5e-5)
    assert line.dof == 9
    value, u = line.at(30.0)
    assert value == pytest.approx(-0.1494, abs=5e-5)
    assert u == pytest.approx(0.0041, abs=5e-5)


def test_scipy_fits_the_same_line() -> None:
    ours, theirs = fit_line(READ_C, CORRECTION_C), stats.linregress(READ_C, CORRECTION_C)
    assert (ours.slope, ours.intercept) == pytest.approx((theirs.slope, theirs.intercept))
    assert (ours.u_slope, ours.u_intercept) == pytest.approx(
        (theirs.stderr, theirs.intercept_stderr)
    )


@pytest.mark.parametrize("x", [[1.0, 2.0], [1.0, 1.0, 1.0]])
def test_too_few_points_or_places_are_refused(x: list[float]) -> None:
    with pytest.raises(ValueError, match="three points or more, at two places or more"):
        fit_line(np.array(x), np.zeros(len(x)))
