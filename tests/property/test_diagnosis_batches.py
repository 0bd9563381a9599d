"""The same readings give the same facts and findings, however they are cut into batches."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop_language import PROCEDURES, Bay, columns, made_station
from steadybead_domain.alarms.model import AlarmFact
from steadybead_domain.diagnosis import filter_watch
from steadybead_domain.diagnosis.finding import Finding
from steadybead_domain.diagnosis.grid import STEP
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.ids import ChannelId
from steadybead_domain.live import LiveStation
from steadybead_domain.plant import AirSource
from steadybead_domain.quantities import Quantity
from steadybead_domain.readings import Columns
from steadybead_domain.times import HOUR, MINUTE, SECOND, format_rfc3339, parse_rfc3339

DAY = parse_rfc3339("2026-05-04T07:00:00Z")
LENGTH = 40 * MINUTE
Told = tuple[list[AlarmFact], list[Finding], LiveStation]

minutes = st.floats(1.0, LENGTH / MINUTE - 1)
events = st.lists(
    st.tuples(
        minutes,
        st.sampled_from("ab"),
        st.sampled_from(
            [
                {"air": 0.0},
                {"air": 37.0},
                {"air": 50.0},
                {"air": 62.0},
                {"heat": True},
                {"heat": False},
                {"set_c": 280.0},
                {"set_c": 320.0},
                {"set_c": 380.0},
                {"dead": "nozzle"},
                {"dead": "flow"},
                {"silent": "flow"},
                {"silent": "nozzle"},
                {"silent": "output"},
                {"mended": True},
            ]
        ),
    ),
    min_size=2,
    max_size=14,
)
welds = st.lists(st.tuples(minutes, minutes, st.booleans()), max_size=2)
cuts = st.lists(st.integers(1, LENGTH // STEP - 1), max_size=12)


def bay_of(turns: list[tuple[float, str, dict[str, object]]], seed: int) -> Bay:
    bay = Bay(made_station("bay-1", "ab"), seed)
    bay.at("07:00", "a", air=50.0, heat=True)
    bay.at("07:00", "b", air=50.0, heat=True)
    for minute, gun, change in turns:
        bay.at(clock_of(minute), gun, **change)
    return bay


def clock_of(minute: float) -> str:
    return format_rfc3339(DAY + round(minute * 60) * SECOND)[11:19]


def told(
    bay: Bay,
    readings: Mapping[ChannelId, Columns],
    ends: list[int],
    restart: bool,
    put_off: bool = False,
) -> Told:
    diagnosis = StationDiagnosis(bay.station, PROCEDURES)
    facts: list[AlarmFact] = []
    findings: list[Finding] = []
    notes = sorted(bay.notes, key=lambda n: n.time)
    before = DAY
    for end in ends:
        while notes and notes[0].time < end:
            diagnosis.note(notes.pop(0))
        diagnosis.push({c: _between(rows, before, end) for c, rows in readings.items()})
        outcome = diagnosis.advance(end, put_off=put_off)
        facts += outcome.facts
        findings += outcome.findings
        before = end
        if restart:
            findings += diagnosis.settle()
            diagnosis = StationDiagnosis.restore(bay.station, PROCEDURES, diagnosis.dump())
    findings += diagnosis.settle()
    return facts, sorted(findings, key=lambda f: (f.time, f.kind, str(f.channel))), outcome.live


def _between(rows: Columns, start: int, end: int) -> Columns:
    first, last = np.searchsorted(rows.time, (start, end), "left").tolist()
    return rows.take(slice(first, last))


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    events,
    welds,
    cuts,
    st.booleans(),
    st.integers(0, 5),
    st.sampled_from([0.5, 1.0, 3.0]),
    st.booleans(),
)
def test_facts_and_findings_do_not_depend_on_the_cuts(
    turns: list[tuple[float, str, dict[str, object]]],
    records: list[tuple[float, float, bool]],
    cut: list[int],
    restart: bool,
    seed: int,
    rate_hz: float,
    put_off: bool,
) -> None:
    bay = bay_of(turns, seed)
    for i, (one, two, pvdf) in enumerate(records):
        start, stop = sorted((one, two))
        name = "pvdf-speed-nozzle" if pvdf else None
        bay.weld(clock_of(start), clock_of(stop), f"w{i}", name)
    readings = bay.readings(DAY, DAY + LENGTH, rate_hz)
    end = DAY + LENGTH + HOUR
    whole = told(bay, readings, [end], restart=False)
    ends = sorted({DAY + c * STEP for c in cut} | {end})
    assert told(bay, readings, ends, restart, put_off) == whole


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.integers(1, 4 * LENGTH // STEP - 1), max_size=8), st.booleans())
def test_the_filters_findings_do_not_depend_on_the_cuts(cut: list[int], restart: bool) -> None:
    station = made_station("bay-1", "ab", air={"drop": Quantity.FILTER_PRESSURE_DROP})
    bay = Bay(replace(station, air=AirSource(intake_filter_limit_pa=250.0)), 2)
    for gun in "ab":
        bay.at("07:00", gun, air=50.0, heat=True)
    end = DAY + 4 * LENGTH
    readings = bay.readings(DAY, end, 0.1)
    with pytest.MonkeyPatch.context() as patch:  # this filter lives two hours
        patch.setattr(filter_watch, "LEAST_SEEN", 0)
        filling_filter(bay, readings, end, cut, restart)


def filling_filter(
    bay: Bay, readings: dict[ChannelId, Columns], end: int, cut: list[int], restart: bool
) -> None:
    time = next(iter(readings.values())).time
    share = (time - DAY) / (end - DAY)
    drop = 40.0 * 8.0**share + np.random.default_rng(3).standard_normal(len(time))
    drop[share > 0.9] = 35.0
    readings[ChannelId("north", "bay-1", "air/drop")] = columns(time, drop)
    whole = told(bay, readings, [end + HOUR], restart=False)
    assert {"filter_forecast", "filter_due", "filter_limit", "filter_fell"} <= {
        f.kind for f in whole[1]
    }
    ends = sorted({DAY + c * STEP for c in cut} | {end + HOUR})
    assert told(bay, readings, ends, restart) == whole


def test_a_batch_for_each_second_gives_what_one_batch_gives() -> None:
    turns: list[tuple[float, str, dict[str, object]]] = [
        (12.0, "a", {"air": 0.0}),
        (13.0, "a", {"air": 50.0}),
        (20.0, "b", {"set_c": 380.0}),
        (25.0, "b", {"dead": "nozzle"}),
        (28.0, "b", {"mended": True}),
        (30.0, "a", {"silent": "flow"}),
    ]
    bay = bay_of(turns, 3)
    readings = bay.readings(DAY, DAY + LENGTH, 1.0)
    end = DAY + LENGTH + HOUR
    whole = told(bay, readings, [end], restart=False)
    ends = [*range(DAY + SECOND, DAY + LENGTH, SECOND), end]
    assert told(bay, readings, ends, restart=False) == whole
    kinds = {f.kind for f in whole[0]}
    assert {"air_lost_heat_on", "heat_high", "sensor_open_circuit", "channel_silent"} <= kinds
