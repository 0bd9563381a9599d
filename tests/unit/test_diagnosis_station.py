import json
from dataclasses import replace

import numpy as np
import pytest

from shop_language import (
    GUN_QUANTITIES,
    PP,
    PROCEDURES,
    Bay,
    Shop,
    between,
    clock,
    columns,
    made_station,
    not_raised,
    raised,
)
from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmState
from steadybead_domain.calibration.model import Fitting
from steadybead_domain.conversion.specs import FlowReference
from steadybead_domain.diagnosis.silence import Online
from steadybead_domain.diagnosis.station import StationDiagnosis
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.live import Fitness, GunState, LiveStation
from steadybead_domain.plant import FlowMeter
from steadybead_domain.procedures import Window
from steadybead_domain.quantities import Quantity
from steadybead_domain.times import MINUTE, SECOND

HOUR_OF_WORK = between("07:00", "08:00")


def working(shop: Shop, extra: dict[str, Quantity] | None = None) -> Bay:
    bay = shop.station("bay-1", quantities={**GUN_QUANTITIES, **(extra or {})})
    bay.at("07:00", air=50.0, heat=True)
    return bay


def at(bay: Bay, when: str) -> LiveStation:
    return min(bay.seen.live, key=lambda live: abs(live.time - clock(when)))


def state(bay: Bay, when: str) -> GunState:
    return at(bay, when).guns[0].state


def test_a_stand_contact_tells_ready_from_welding() -> None:
    shop = Shop()
    bay = working(shop, {"stand": Quantity.IN_STAND})
    bay.shows("gun-a/stand", ("07:00", 1.0), ("07:20", 0.0), ("07:30", 1.0))
    shop.run(until="07:40")
    assert state(bay, "07:10") is GunState.READY
    assert state(bay, "07:25") is GunState.WELDING
    assert state(bay, "07:35") is GunState.READY


def test_motion_tells_welding_and_a_short_pause_does_not_end_it() -> None:
    shop = Shop()
    bay = working(shop, {"motion": Quantity.GUN_MOTION})
    turns = [("07:00", 0.0), ("07:20", 1.0), ("07:21", 0.0), ("07:21:15", 1.0), ("07:22", 0.0)]
    bay.shows("gun-a/motion", *turns)
    shop.run(until="07:30", tick_s=5.0)
    assert state(bay, "07:19") is GunState.READY
    assert state(bay, "07:21:10") is GunState.WELDING
    assert state(bay, "07:23") is GunState.READY


def test_without_record_or_channel_the_use_of_a_hot_gun_is_unknown() -> None:
    shop = Shop()
    bay = working(shop)
    bay.weld("07:20", "07:25", "w-1")
    shop.run(until="07:30")
    assert state(bay, "07:15") is GunState.HOT
    assert state(bay, "07:22") is GunState.WELDING
    assert at(bay, "07:22").guns[0].weld == "w-1"
    assert state(bay, "07:28") is GunState.HOT


def test_a_gun_without_heater_channel_is_followed_by_its_temperature() -> None:
    shop = Shop()
    bay = shop.station("bay-1", quantities={k: GUN_QUANTITIES[k] for k in ("nozzle", "flow")})
    bay.at("07:00", air=50.0)
    bay.at("07:01", heat=True)
    bay.at("07:20", heat=False)
    bay.expect(HOUR_OF_WORK, not_raised("heat_low"))
    shop.run(until="07:30", tick_s=1.0)
    shop.check()
    seen = [live.guns[0].state for live in bay.seen.live]
    turns = [s for s, before in zip(seen[1:], seen, strict=False) if s is not before]
    assert turns == [GunState.WARMING, GunState.HOT, GunState.COOLING, GunState.OFF]
    assert state(bay, "07:29") is GunState.OFF


def test_a_gun_that_does_not_reach_its_window_is_told() -> None:
    shop = Shop()
    bay = working(shop)
    bay.at("07:00", set_c=270.0)
    bay.expect(between("07:02", "07:06"), raised("heat_low"))
    shop.run(until="07:20")
    shop.check()


def test_the_flow_window_stands_in_its_own_reference_state() -> None:
    """50 L/min at 35 °C and 101.325 kPa are 44.321 NL/min (DIN 1343), computed by the gas law."""
    normal = replace(PP, flow_reference=FlowReference.DIN_1343)
    procedures = {normal.id: normal}
    for inlet_c, kinds in ((20.0, []), (80.0, ["flow_low"])):
        station = made_station(
            "bay-1", "a", {**GUN_QUANTITIES, "inlet": Quantity.GUN_INLET_TEMPERATURE}
        )
        bay = Bay(station, 1)
        bay.at("07:00", air=50.0, heat=True)
        bay.shows("gun-a/inlet", ("07:00", inlet_c))
        diagnosis = StationDiagnosis(station, procedures)
        diagnosis.push(bay.readings(clock("07:00"), clock("07:10"), 1.0))
        outcome = diagnosis.advance(clock("07:10"))
        assert [f.kind for f in outcome.facts] == kinds
        if kinds:
            expected = 50.0 * 273.15 / 353.15
            assert outcome.facts[0].value == pytest.approx(expected, abs=1.0)
            assert outcome.facts[0].unit == "L/min DIN 1343"


def test_the_window_is_shown_in_the_channels_own_terms() -> None:
    normal = replace(PP, flow_reference=FlowReference.DIN_1343)
    station = made_station("bay-1")
    diagnosis = StationDiagnosis(station, {normal.id: normal})
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    diagnosis.push(bay.readings(clock("07:00"), clock("07:01"), 1.0))
    values = {v.quantity: v for v in diagnosis.advance(clock("07:01")).live.values}
    flow = values["air_flow"]
    assert flow.low == pytest.approx(45.0 * 50.0 / 46.589, rel=1e-4)  # domain table, gas law
    assert (values["nozzle_temperature"].low, values["nozzle_temperature"].high) == (300.0, 340.0)
    assert values["heater_output"].low is None


def test_a_normal_flow_meter_needs_no_conversion_to_a_normal_window() -> None:
    normal = replace(PP, flow_reference=FlowReference.DIN_1343, air_flow=Window(45, 55, "L/min"))
    station = made_station("bay-1")
    meter = FlowMeter(reference=FlowReference.DIN_1343)
    station = replace(
        station,
        channels=tuple(
            replace(c, flow=meter) if c.quantity is Quantity.AIR_FLOW else c
            for c in station.channels
        ),
    )
    diagnosis = StationDiagnosis(station, {normal.id: normal})
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    diagnosis.push(bay.readings(clock("07:00"), clock("07:10"), 1.0))
    values = {v.quantity: v for v in diagnosis.advance(clock("07:10")).live.values}
    assert values["air_flow"].low == pytest.approx(45.0)


def test_a_stuck_sensor_is_told_while_the_gun_works_and_not_while_it_is_off() -> None:
    shop = Shop()
    bay = working(shop)
    bay.shows("gun-a/flow", ("07:00", 50.0))
    bay.at("07:30", heat=False)
    shop.run(until="08:00")
    stuck = [f for f in bay.seen.facts if f.kind == "sensor_stuck"]
    assert len(stuck) == 1
    assert stuck[0].channel == ChannelId("north", "bay-1", "gun-a/flow")
    assert 600 <= (stuck[0].time - clock("07:00")) / SECOND < 900


def test_an_acknowledgement_reaches_the_alarm() -> None:
    station = made_station("bay-1")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    bay.at("07:20", air=37.0)
    diagnosis.push(bay.readings(clock("07:00"), clock("07:30"), 1.0))
    (alarm,) = diagnosis.advance(clock("07:30")).alarms
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    act = AlarmAct(alarm.raised.alarm, ActKind.ACKNOWLEDGE, clock("07:25"), "ann")
    diagnosis.note(act)
    diagnosis.note(act)
    (alarm,) = diagnosis.advance(clock("07:30")).alarms
    assert (alarm.state, alarm.acknowledged_by) == (AlarmState.ACKNOWLEDGED, "ann")
    diagnosis.note(replace(act, alarm="unknown"))
    assert diagnosis.advance(clock("07:30")).alarms == (alarm,)


def test_late_readings_are_counted_and_a_clock_that_goes_back_judges_nothing_twice() -> None:
    station = made_station("bay-1")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    readings = bay.readings(clock("07:00"), clock("07:05"), 1.0)
    diagnosis.push(readings)
    diagnosis.advance(clock("07:06"))
    step = diagnosis.next_step
    assert diagnosis.advance(clock("07:01")).facts == ()
    assert diagnosis.next_step == step
    diagnosis.push(readings)
    assert diagnosis.late == sum(len(c) for c in readings.values())


def test_readings_and_events_of_other_stations_are_left_alone() -> None:
    station = made_station("bay-1")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    other = ChannelId("south", "bay-1", "gun-a/flow")
    diagnosis.push({other: columns(np.array([clock("07:00")]), np.array([1.0]))})
    diagnosis.note(Online(StationId("south", "bay-1"), clock("07:00"), False))
    live = diagnosis.advance(clock("07:01")).live
    assert live.values == ()
    assert live.fitness is Fitness.NO_DATA


def test_a_station_never_heard_is_silent_after_its_limit() -> None:
    diagnosis = StationDiagnosis(made_station("bay-1"), PROCEDURES)
    assert diagnosis.advance(clock("07:00")).facts == ()
    (fact,) = diagnosis.advance(clock("07:01")).facts
    assert fact.kind == "station_silent"
    assert abs(fact.time - clock("07:00") - 30 * SECOND) <= SECOND


def test_a_night_is_passed_over_and_changes_nothing() -> None:
    station = made_station("bay-1")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0)
    diagnosis.push(bay.readings(clock("07:00"), clock("07:05"), 1.0))
    outcome = diagnosis.advance(clock("07:05") + 400 * 24 * 60 * MINUTE)
    assert [f.kind for f in outcome.facts] == ["station_silent"]


def test_a_memory_of_another_version_or_none_starts_fresh() -> None:
    station = made_station("bay-1")
    for data in (b"", b"[]", b'{"version": 99}', b"\x00\x01"):
        fresh = StationDiagnosis.restore(station, PROCEDURES, data)
        assert fresh.next_step is None


def test_a_changed_channel_starts_fresh_and_the_rest_is_kept() -> None:
    station = made_station("bay-1", "ab")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    bay.at("07:20", air=37.0)
    diagnosis.push(bay.readings(clock("07:00"), clock("07:30"), 1.0))
    before = diagnosis.advance(clock("07:30"))
    fewer = made_station("bay-1", "a", {**GUN_QUANTITIES, "power": Quantity.HEATER_POWER})
    restored = StationDiagnosis.restore(fewer, PROCEDURES, diagnosis.dump())
    after = restored.advance(clock("07:30"))
    assert [a.raised.alarm for a in after.alarms] == [a.raised.alarm for a in before.alarms]
    assert [g.gun for g in after.live.guns] == ["a"]
    assert restored.grids["gun-a/power"].value != restored.grids["gun-a/power"].value


def test_the_memory_is_small_and_plain_json() -> None:
    station = made_station("bay-1", "ab")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    diagnosis.push(bay.readings(clock("07:00"), clock("08:00"), 1.0))
    diagnosis.advance(clock("08:00"))
    data = diagnosis.dump()
    assert json.loads(data)["version"] == 2
    assert len(data) < 24_000  # of these about 3,500 are the slow checks of sensors and air


def test_a_station_without_procedure_is_not_called_fit() -> None:
    station = replace(made_station("bay-1"), procedure=None)
    diagnosis = StationDiagnosis(station, PROCEDURES)
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    diagnosis.push(bay.readings(clock("07:00"), clock("07:30"), 1.0))
    live = diagnosis.advance(clock("07:30")).live
    assert live.fitness is Fitness.NOT_FIT
    assert "no procedure" in live.reasons[0]


def test_a_station_whose_flow_was_never_heard_is_not_called_fit() -> None:
    station = made_station("bay-1")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    flow = next(c.id for c in station.channels if c.quantity is Quantity.AIR_FLOW)
    heard = bay.readings(clock("07:00"), clock("07:30"), 1.0)
    diagnosis.push({name: c for name, c in heard.items() if name != flow})
    live = diagnosis.advance(clock("07:30")).live
    assert live.fitness is Fitness.NOT_FIT
    assert "gun a: no flow reading" in live.reasons
    assert flow.channel not in [v.channel for v in live.values]


def test_a_new_revision_of_the_procedure_holds_from_then_on() -> None:
    station = made_station("bay-1")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    bay = Bay(station, 1)
    bay.at("07:00", air=50.0, heat=True)
    readings = bay.readings(clock("07:00"), clock("07:40"), 1.0)
    diagnosis.push(readings)
    assert diagnosis.advance(clock("07:20")).live.fitness is Fitness.FIT
    diagnosis.note(replace(PP, revision=2, nozzle_temperature=Window(350.0, 370.0, "Cel")))
    outcome = diagnosis.advance(clock("07:40"))
    assert [f.kind for f in outcome.facts] == ["heat_low"]
    assert outcome.live.fitness is Fitness.NOT_FIT


def test_a_clock_that_is_ahead_is_a_finding_of_the_station_also_over_a_restart() -> None:
    station = made_station("bay-1", "a")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    found = []
    for quarter in range(16):
        received = clock("07:00") + quarter * 15 * MINUTE
        diagnosis.note_receipt(received, received + 3 * SECOND)
        diagnosis = StationDiagnosis.restore(station, PROCEDURES, diagnosis.dump())
        diagnosis.note_receipt(received + SECOND, received + 4 * SECOND)
        found += diagnosis.advance(received).findings
    assert [(f.kind, f.value) for f in found] == [("clock_offset", 3.0)]


def test_another_instrument_lets_its_own_gun_learn_anew() -> None:
    station = made_station("bay-1", "ab")
    diagnosis = StationDiagnosis(station, PROCEDURES)
    nozzle = station.channel_of(Quantity.NOZZLE_TEMPERATURE, "b")
    assert nozzle is not None
    diagnosis.note(Fitting("tc-9", nozzle.id, clock("07:00")))
    diagnosis.note(Fitting("tc-8", nozzle.id, clock("08:00"), clock("08:00")))
    assert diagnosis.guns["a"].health.drift.refits == []
    assert diagnosis.guns["b"].health.drift.refits == [clock("07:00")]
