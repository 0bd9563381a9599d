"""Who is told of an alarm, when, how often, and who next: the shop's rules on virtual time."""

import pytest

from notice_language import Desk, not_told, receiver, told
from shop_language import Bay, Shop, between
from steadybead_domain.alarms.model import ActKind as A
from steadybead_domain.calendar import WorkCalendar

WELDERS = receiver("welders", ["welder"])
NINE_TO_FOUR = WorkCalendar("UTC", hours=((540, 960),))
DAY = between("07:00", "16:00")


@pytest.fixture
def shop() -> Shop:
    return Shop(seed=31)


def at_work(shop: Shop, name: str = "bay-1") -> Bay:
    bay = shop.station(name)
    bay.at("07:00", air=50.0, heat=True)
    return bay


def test_each_role_gets_its_own_alarms_once(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.at("07:40", dead="nozzle")
    desk = Desk(shop, WELDERS, receiver("maintenance", ["maintenance"]))
    desk.expect(between("07:21", "07:22:30"), told("welders", "flow_low"))
    desk.expect(DAY, not_told("maintenance", "flow_low"))
    desk.expect(between("07:41", "07:41:30"), told("maintenance", "sensor_open_circuit"))
    desk.expect(DAY, not_told("welders", "sensor_open_circuit"))
    desk.run(until="08:30")
    desk.check()
    assert len(desk.of("welders")) == len(desk.of("maintenance")) == 1


def test_heat_without_air_waits_for_no_others(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=0.0)
    desk = Desk(shop, WELDERS)
    desk.expect(between("07:20:01", "07:20:15"), told("welders", "air_lost_heat_on"))
    desk.run(until="07:25", tick_s=1.0)
    desk.check()
    (notice,) = desk.of("welders")
    assert notice.subject.startswith("[north] high: bay-1: gun a: no air while the heat is on")
    assert "What to do: Cut the heat at once" in notice.body
    assert "Who must act: welder" in notice.body
    assert "never says that a gun is safe to touch" in notice.body


def test_what_comes_together_is_told_together(shop: Shop) -> None:
    for name in ("bay-1", "bay-2", "bay-3"):
        at_work(shop, name).at("07:20", air=38.0)
    desk = Desk(shop, WELDERS)
    desk.run(until="08:00")
    (notice,) = desk.of("welders")
    assert notice.subject.endswith("(and 2 more)")
    assert {line for line in ("bay-1", "bay-2", "bay-3") if line in notice.body} == set(shop.bays)


def test_it_is_told_again_until_somebody_acknowledges(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.act("08:25", A.ACKNOWLEDGE, of="flow_low")
    desk = Desk(shop, receiver("welders", ["welder"], repeat_min=30.0))
    desk.expect(between("07:51", "07:53"), told("welders", "flow_low", again=True))
    desk.expect(between("08:25", "10:00"), not_told("welders", "flow_low"))
    desk.run(until="10:00")
    desk.check()
    assert [n.told[0].before for n in desk.of("welders")] == [0, 1, 2]
    assert "told 2 times before" in desk.of("welders")[-1].body


def test_the_manager_is_told_only_of_what_nobody_acknowledged(shop: Shop) -> None:
    seen, unseen = at_work(shop, "bay-1"), at_work(shop, "bay-2")
    seen.at("07:20", air=38.0)
    seen.act("07:25", A.ACKNOWLEDGE, of="flow_low")
    unseen.at("07:20", air=38.0)
    desk = Desk(shop, WELDERS, receiver("manager", ["welder"], after_min=15.0))
    desk.expect(between("07:35", "07:37"), told("manager", "flow_low"))
    desk.run(until="09:00")
    desk.check()
    (escalation,) = desk.of("manager")
    assert "bay-2" in escalation.body
    assert "bay-1" not in escalation.body
    assert "nobody has acknowledged it for 16 min" in escalation.body


def test_who_works_by_day_is_not_woken_at_night(shop: Shop) -> None:
    """The day here is from 9 to 16: at 7:20 nobody is there yet."""
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    late = Desk(
        shop,
        receiver("day", ["welder"], hours="working"),
        receiver("night watch", ["welder"], hours="outside"),
        calendar=NINE_TO_FOUR,
    )
    late.expect(between("09:00", "09:02"), told("day", "flow_low"))
    late.expect(between("07:20", "07:23"), told("night watch", "flow_low"))
    late.run(until="10:00")
    late.check()
    assert len(late.of("day")) == len(late.of("night watch")) == 1


def test_what_is_over_by_morning_is_no_news(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.at("08:00", air=50.0)
    desk = Desk(shop, receiver("day", ["welder"], hours="working"), calendar=NINE_TO_FOUR)
    desk.expect(DAY, not_told("day", "flow_low"))
    desk.run(until="10:00")
    desk.check()


def test_what_is_put_away_is_not_told_until_it_comes_back(shop: Shop) -> None:
    bay = at_work(shop)
    bay.at("07:20", air=38.0)
    bay.act("07:21", A.SHELVE, of="flow_low", until="08:00")
    desk = Desk(shop, receiver("welders", ["welder"], group_s=180.0))
    desk.expect(between("07:00", "07:59"), not_told("welders", "flow_low"))
    desk.expect(between("08:00", "08:02"), told("welders", "flow_low"))
    desk.run(until="08:30")
    desk.check()


def test_a_condition_that_keeps_coming_back_is_not_told_each_time(shop: Shop) -> None:
    bay = at_work(shop)
    for minute in range(10, 55, 11):
        bay.at(f"08:{minute:02}", air=38.0)
        bay.act(f"08:{minute + 1:02}:30", A.ACKNOWLEDGE, of="flow_low")
        bay.at(f"08:{minute + 2:02}", air=50.0)
    desk = Desk(shop, receiver("welders", ["welder"], group_s=10.0))
    desk.run(until="09:30")
    assert len([f for f in bay.seen.facts if f.active]) == 5
    assert len(desk.of("welders")) == 2


def test_a_dead_receiver_gets_one_notice_that_tells_all_that_came_meanwhile(shop: Shop) -> None:
    first, second = at_work(shop, "bay-1"), at_work(shop, "bay-2")
    first.at("07:20", air=38.0)
    second.at("07:50", air=38.0)
    desk = Desk(shop, WELDERS)
    desk.shop.run(until="08:30")
    waiting: set[str] = set()
    for (now, ours), (_, theirs) in zip(first.seen.alarms, second.seen.alarms, strict=True):
        sent = desk.router.decide(now, [*ours, *theirs], waiting)
        desk.notices += sent
        waiting |= {n.receiver for n in sent}
    assert len(desk.notices) == 1
    now, ours = first.seen.alarms[-1]
    (later,) = desk.router.decide(now, [*ours, *second.seen.alarms[-1][1]])
    assert [t.before for t in later.told] == [0]
    assert "bay-2" in later.body
