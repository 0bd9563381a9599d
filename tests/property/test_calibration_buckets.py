"""Where summaries say that they are exact, they are what the raw readings give."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration_samples import CHANNEL, FITTING, NOW, calibration
from steadybead_domain.calibration.model import CorrectionKind, Point
from steadybead_domain.calibration.timeline import correct, correct_buckets, timeline
from steadybead_domain.readings import Buckets
from steadybead_domain.times import DAY, HOUR

START, BUCKET = NOW - 11 * DAY, 6 * HOUR
values = st.lists(st.floats(0.0, 600.0), min_size=8, max_size=40)
errors = st.lists(st.floats(-20.0, 20.0), min_size=3, max_size=3)


@settings(deadline=None)
@given(values, errors, st.integers(0, 30))
def test_exact_summaries_equal_those_of_the_raw_readings(
    raw: list[float], error: list[float], lead_h: int
) -> None:
    points = tuple(
        Point(t, t + e, t - e) for t, e in zip((100.0, 300.0, 500.0), error, strict=True)
    )
    held = calibration(
        kind=CorrectionKind.PIECEWISE, points=points, effective=NOW - 10 * DAY - lead_h * HOUR
    )
    line = timeline(CHANNEL, "Cel", [FITTING], [held])
    recorded = np.array(raw)
    time = START + np.linspace(0, 8 * BUCKET, len(raw), endpoint=False).astype(np.int64)
    corrected = correct(line, time, recorded).value
    found, exact = correct_buckets(line, summarise(time, recorded))
    true = summarise(time, corrected)
    for column in ("low", "mean", "high"):
        one, other = getattr(found, column)[exact], getattr(true, column)[exact]
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9)


def summarise(time: np.ndarray, value: np.ndarray) -> Buckets:
    number = (time - START) // BUCKET
    which = np.unique(number)
    groups = [value[number == i] for i in which]
    start = START + which * BUCKET
    return Buckets(
        start,
        start + BUCKET,
        np.array([len(g) for g in groups]),
        np.array([g.min() for g in groups]),
        np.array([g.mean() for g in groups]),
        np.array([g.max() for g in groups]),
        np.zeros(len(which), np.uint8),
    )
