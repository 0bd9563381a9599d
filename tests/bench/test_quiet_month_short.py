"""The quiet month in short: the goals hold over the first week of the month that is published."""

import pytest

from bench.quiet_month import main, quiet, report
from simulated_shop import MONDAY
from steadybead_domain.alarms.quality import alarm_quality
from steadybead_domain.times import DAY

SEED = 5001


@pytest.mark.slow
def test_people_are_left_in_peace() -> None:
    found = quiet(stations=3, days=5, seed=SEED)
    assert found.shifts == 15
    assert len(found.of_welders()) <= found.shifts
    for name in ("maintenance", "maintenance, low too"):
        assert sum(found.a_day(name).values()) <= found.days
    assert alarm_quality(found.facts, MONDAY, MONDAY + 5 * DAY).flood_share == 0.0
    # and yet somebody is called: the station falls silent each evening, which is of low priority
    assert {f.kind for f in found.facts} & {"station_silent", "station_silent_hot"}
    lines = list(report(found))
    assert any(line.startswith("| welder: alarms a shift |") for line in lines)


def test_an_unknown_word_is_refused() -> None:
    with pytest.raises(SystemExit) as refused:
        main(["--weeks", "4"])
    assert refused.value.code == 2
