"""The filter's limit beside the published final pressure drops of filter classes.

EN 779:2012: 250 Pa for coarse (G1–G4), 450 Pa for medium and fine filters (M5–F9). ISO 16890:
200 Pa for coarse, 300 Pa for ePM filters. Figures as quoted by makers and test houses (found).
"""

import numpy as np
import pytest

from steadybead_domain.diagnosis.filter import REACHED, FilterTracker, FilterUpdate
from steadybead_domain.diagnosis.filter_data import Sample

FINAL_PA = {"EN 779 G": 250.0, "EN 779 M, F": 450.0, "ISO 16890 coarse": 200.0, "ISO ePM": 300.0}
STEP_S, SAMPLES = 60.0, 600
CLEAN_SHARE = 0.3


@pytest.mark.parametrize("final_pa", FINAL_PA.values(), ids=list(FINAL_PA))
def test_each_class_is_told_at_its_final_drop_and_foreseen(final_pa: float) -> None:
    noise = np.random.default_rng(1).normal(0.0, 1.0, SAMPLES)
    drop = CLEAN_SHARE * final_pa * CLEAN_SHARE ** -(np.arange(SAMPLES) / (SAMPLES - 60)) + noise
    tracker, said = FilterTracker(final_pa), list[FilterUpdate]()
    for i, pascal in enumerate(drop.tolist()):
        said += tracker.update(Sample(STEP_S * i, pascal, 100.0))
    end_s = STEP_S * (SAMPLES - 60)
    reached = next(u.time_s for u in said if u.finding == REACHED)
    assert reached == pytest.approx(end_s, rel=0.03)
    half = next(u for u in said if u.time_s >= 0.5 * end_s and u.remaining_s is not None)
    assert half.low_s is not None
    assert half.high_s is not None
    assert half.remaining_s == pytest.approx(end_s - half.time_s, rel=0.25)
    assert half.low_s <= end_s - half.time_s <= half.high_s
