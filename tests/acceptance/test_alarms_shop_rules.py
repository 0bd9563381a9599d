"""The shop's rules for alarms, one state after the other, on virtual time."""

import pytest

from shop_language import Bay, Shop, between, cleared, not_raised, raised
from steadybead_domain.alarms.model import ActKind, AlarmState

A, S = ActKind, AlarmState


@pytest.fixture
def shop() -> Shop:
    return Shop(seed=21)


def at_work(shop: Shop) -> Bay:
    bay = shop.station("bay-1")
    bay.at("07:00", air=50.0, heat=True)
    return bay


def test_an_alarm_is_acknowledged_and_goes_when_its_cause_goes(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.at("07:40", air=50.0)
    bay.act("07:30", A.ACKNOWLEDGE, of="flow_low")
    bay.act("07:31", A.ACKNOWLEDGE, of="flow_low")
    shop.run(until="07:50")
    assert bay.state("flow_low", "07:19") is S.NORMAL
    assert bay.state("flow_low", "07:25") is S.UNACKNOWLEDGED
    assert bay.state("flow_low", "07:35") is S.ACKNOWLEDGED
    assert bay.state("flow_low", "07:45") is S.NORMAL


def test_an_alarm_that_nobody_saw_stays_until_somebody_does(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.at("07:25", air=50.0)
    bay.act("07:40", A.ACKNOWLEDGE, of="flow_low")
    shop.run(until="07:50")
    assert bay.state("flow_low", "07:35") is S.RETURNED
    assert bay.state("flow_low", "07:45") is S.NORMAL


def test_an_alarm_that_comes_back_must_be_acknowledged_again(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.at("07:25", air=50.0)
    bay.at("07:28", air=38.0)
    bay.act("07:22", A.ACKNOWLEDGE, of="flow_low")
    shop.run(until="07:35")
    assert bay.state("flow_low", "07:24") is S.ACKNOWLEDGED
    assert bay.state("flow_low", "07:27") is S.NORMAL
    assert bay.state("flow_low", "07:30") is S.UNACKNOWLEDGED
    ids = {f.alarm for f in bay.seen.facts}
    assert len(ids) == 1


def test_heat_without_air_stays_latched_until_somebody_has_looked(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=0.0)
    bay.at("07:21", air=50.0)
    bay.act("07:20:30", A.ACKNOWLEDGE, of="air_lost_heat_on")
    bay.act("07:40", A.ACKNOWLEDGE, of="air_lost_heat_on")
    shop.run(until="07:50", tick_s=5.0)
    assert bay.state("air_lost_heat_on", "07:20:10") is S.UNACKNOWLEDGED
    assert bay.state("air_lost_heat_on", "07:20:45") is S.ACKNOWLEDGED
    assert bay.state("air_lost_heat_on", "07:30") is S.LATCHED_ACKNOWLEDGED
    assert bay.state("air_lost_heat_on", "07:45") is S.NORMAL


def test_latched_and_unacknowledged_is_its_own_state(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=0.0)
    bay.at("07:21", air=50.0)
    shop.run(until="07:30")
    assert bay.state("air_lost_heat_on", "07:29") is S.LATCHED_UNACKNOWLEDGED


def test_a_shelved_alarm_comes_back_when_its_time_is_over(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.act("07:25", A.SHELVE, of="flow_low", until="07:45")
    shop.run(until="07:50")
    assert bay.state("flow_low", "07:40") is S.SHELVED
    assert bay.state("flow_low", "07:46") is S.UNACKNOWLEDGED


def test_a_shelf_can_be_emptied_before(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.act("07:25", A.SHELVE, of="flow_low", until="07:45")
    bay.act("07:30", A.UNSHELVE, of="flow_low")
    shop.run(until="07:40")
    assert bay.state("flow_low", "07:35") is S.UNACKNOWLEDGED


def test_out_of_service_stays_until_it_is_taken_back(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.act("07:25", A.TAKE_OUT_OF_SERVICE, of="flow_low")
    bay.act("07:40", A.RETURN_TO_SERVICE, of="flow_low")
    shop.run(until="07:50")
    assert bay.state("flow_low", "07:35") is S.OUT_OF_SERVICE
    assert bay.state("flow_low", "07:45") is S.UNACKNOWLEDGED


def test_a_broken_sensor_mutes_what_is_drawn_from_it_and_raises_its_own(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", set_c=280.0)
    bay.at("07:30", dead="nozzle")
    bay.at("07:40", mended=True)
    bay.expect(between("07:30:00", "07:30:03"), raised("sensor_open_circuit"))
    bay.expect(between("07:40:00", "07:40:10"), cleared("sensor_open_circuit"))
    shop.run(until="07:50")
    shop.check()
    assert bay.state("heat_low", "07:25") is S.UNACKNOWLEDGED
    assert bay.state("heat_low", "07:35") is S.SUPPRESSED
    assert bay.state("heat_low", "07:45") is S.UNACKNOWLEDGED


def test_a_gun_that_is_off_raises_no_low_temperature_alarm(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", heat=False)
    bay.at("07:30", air=0.0)
    bay.expect(between("07:00", "08:30"), not_raised("heat_low"))
    bay.expect(between("07:00", "08:30"), not_raised("flow_low"))
    shop.run(until="08:30")
    shop.check()
    assert bay.seen.facts == []
