"""The demo's past: judged by the diagnosis as it would have been then, and told only once."""

from importlib.resources import as_file, files
from pathlib import Path

from steadybead_api.demo_past import AGO, FIRST_SEAM, JOB, replay_past
from steadybead_api.plant_stores import open_plant_records
from steadybead_collector.config import load_plant_file
from steadybead_collector.records.welds import WeldSearch
from steadybead_domain.alarms.model import Alarm, AlarmState
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.times import MINUTE, parse_rfc3339

NOW = parse_rfc3339("2026-11-26T10:00:00Z")


def test_a_filter_comes_to_its_limit_and_a_seam_is_on_record(tmp_path: Path) -> None:
    with as_file(files("steadybead_simulator") / "demo") as folder:
        plant_file = load_plant_file(folder / "plant.toml")
        for _ in range(2):  # a demo that goes on in a kept folder has its past already
            replay_past(plant_file, tmp_path, folder, 1, lambda: NOW)
    records = open_plant_records(plant_file, tmp_path)
    try:
        told = [t.finding for t in records.findings.page(100).items]
        [found] = [f for f in told if f.kind == "filter_limit"]
        assert found.station.station == "bay-2"
        assert NOW - AGO < found.time < NOW - AGO + 10 * MINUTE
        assert found.value is not None
        assert found.value > 245.0
        seams = records.welds.page(WeldSearch(job=JOB, seam=str(FIRST_SEAM)), 10).items
        assert len(seams) == 1
        occurrences = records.alarms.page(100).items
    finally:
        records.close()
    alarms = [alarm_state(o.facts, o.acts, NOW) for o in occurrences]
    assert of_kind(alarms, "filter_limit").state is AlarmState.UNACKNOWLEDGED
    too_little = of_kind(alarms, "flow_low")
    assert too_little.acknowledged_by == "w-40"
    assert too_little.state is AlarmState.NORMAL


def of_kind(alarms: list[Alarm], kind: str) -> Alarm:
    [found] = [a for a in alarms if a.raised.kind == kind]
    return found
