import json
from dataclasses import replace

import pytest

from calibration_samples import (
    CHANNEL,
    FITTING,
    INSTRUMENT,
    NOW,
    OTHER_CHANNEL,
    calibration,
    check,
    offset,
)
from steadybead_domain.calibration.codec import (
    calibration_from_json,
    check_from_json,
    fitting_from_json,
    instrument_from_json,
    to_json,
)
from steadybead_domain.calibration.history import EntryKind, history
from steadybead_domain.calibration.impact import span_in_doubt, welds_touched
from steadybead_domain.ids import StationId
from steadybead_domain.times import DAY, HOUR
from steadybead_domain.welds import Weld


def test_the_history_tells_all_in_order() -> None:
    moved = [
        replace(FITTING, end=NOW - 5 * DAY),
        replace(FITTING, channel=OTHER_CHANNEL, start=NOW),
    ]
    good = offset(301.0, 300.0, id="good", performed=NOW - 50 * DAY, effective=NOW - 50 * DAY)
    checks = [
        check(time=NOW - 20 * DAY),
        check(id="gone", time=NOW - HOUR),
        check(id="c", time=NOW),
    ]
    entries = history(INSTRUMENT, moved, [calibration(), good], checks)
    assert [(e.kind, e.reference) for e in entries] == [
        (EntryKind.FITTED, ""),
        (EntryKind.CALIBRATED, "good"),
        (EntryKind.CHECKED, "check-1"),
        (EntryKind.FAILED_AS_FOUND, "cal-1"),
        (EntryKind.REMOVED, ""),
        (EntryKind.FITTED, ""),
    ]
    assert [e.error for e in entries] == [None, 1.0, -8.0, 3.0, None, None]
    assert entries[3].channel == CHANNEL


@pytest.mark.parametrize(
    "held",
    [calibration(), offset(305.0, 300.0, due=NOW + DAY, revision=3), calibration(points=())],
)
def test_calibrations_survive_json(held: object) -> None:
    text = json.dumps(to_json(held))  # type: ignore[arg-type]
    assert calibration_from_json(json.loads(text)) == held


def test_the_other_records_survive_json() -> None:
    for record, read in (
        (INSTRUMENT, instrument_from_json),
        (FITTING, fitting_from_json),
        (replace(FITTING, end=NOW), fitting_from_json),
        (check(flow_l_min=None), check_from_json),
    ):
        assert read(json.loads(json.dumps(to_json(record)))) == record
    assert to_json(check())["channel"] == "north/bay-1/gun-a/nozzle"
    assert to_json(check())["time"].endswith("Z")


def test_what_is_no_record_is_refused() -> None:
    with pytest.raises(TypeError):
        instrument_from_json({"id": "x"})
    with pytest.raises(ValueError, match="RFC 3339"):
        fitting_from_json(to_json(FITTING) | {"start": "yesterday"})


def weld(name: str, gun: str, start: int, stop: int | None, station: str = "bay-1") -> Weld:
    return Weld(name, StationId("north", station), gun, start, stop)


def test_welds_touched_by_a_span() -> None:
    span = span_in_doubt(4.0, NOW, [], NOW - 10 * DAY)
    welds = [
        weld("before", "a", NOW - 12 * DAY, NOW - 10 * DAY),
        weld("into it", "a", NOW - 11 * DAY, NOW - 9 * DAY),
        weld("open", "a", NOW - DAY, None),
        weld("other gun", "b", NOW - DAY, NOW),
        weld("elsewhere", "a", NOW - DAY, NOW, station="bay-2"),
        weld("after", "a", NOW, NOW + DAY),
    ]
    assert [w.id for w in welds_touched(span, CHANNEL, welds)] == ["into it", "open"]
    air = replace(CHANNEL, channel="air/outlet")
    assert [w.id for w in welds_touched(span, air, welds)] == ["into it", "open", "other gun"]
