from steadybead_domain.ids import StationId
from steadybead_domain.welds import Weld, WeldEvent, WeldEventKind, fold

BAY = StationId("north", "bay-1")
START, STOP = WeldEventKind.START, WeldEventKind.STOP


def event(kind: WeldEventKind, weld: str, time: int, gun: str = "a", seam: str = "") -> WeldEvent:
    return WeldEvent(kind, weld, BAY, gun, time, "maria", "http", seam=seam or None)


def one(*events: WeldEvent) -> Weld:
    (weld,) = fold(events).values()
    return weld


def test_a_start_opens_and_a_stop_closes() -> None:
    weld = one(event(START, "w1", 10, seam="12"), event(STOP, "w1", 30))
    assert (weld.start, weld.stop, weld.ended_by, weld.seam) == (10, 30, "stop", "12")


def test_a_repeated_start_changes_nothing() -> None:
    assert one(event(START, "w1", 10), event(START, "w1", 99)).start == 10


def test_a_repeated_stop_changes_nothing() -> None:
    assert one(event(START, "w1", 10), event(STOP, "w1", 20), event(STOP, "w1", 99)).stop == 20


def test_a_start_on_a_busy_gun_ends_the_open_record_there() -> None:
    welds = fold([event(START, "w1", 10), event(START, "w2", 25)])
    assert (welds["w1"].stop, welds["w1"].ended_by) == (25, "next start")
    assert welds["w2"].stop is None


def test_two_guns_do_not_disturb_each_other() -> None:
    welds = fold([event(START, "w1", 10), event(START, "w2", 25, gun="b")])
    assert [w.stop for w in welds.values()] == [None, None]


def test_a_stop_before_its_start_is_held_at_the_start() -> None:
    assert one(event(START, "w1", 10), event(STOP, "w1", 5)).stop == 10


def test_a_stop_of_an_unknown_weld_makes_none() -> None:
    assert fold([event(STOP, "w9", 5)]) == {}


def test_a_late_repeat_of_a_start_does_not_reopen() -> None:
    weld = one(event(START, "w1", 10), event(STOP, "w1", 20), event(START, "w1", 10))
    assert weld.stop == 20
