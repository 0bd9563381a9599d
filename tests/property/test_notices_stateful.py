"""Notices over random sequences of conditions, acts, restarts, clock steps and a dead receiver.

Nothing is told twice, nothing that stands is forgotten, nobody is told of what was put away, and
a receiver that is dead never has more than one notice waiting.
"""

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from steadybead_domain.alarms.book import AlarmBook
from steadybead_domain.alarms.change import Change
from steadybead_domain.alarms.model import ActKind, Alarm, AlarmAct, AlarmState, Priority
from steadybead_domain.alarms.notices import Notice, Router
from steadybead_domain.alarms.receivers import Receiver
from steadybead_domain.calendar import WorkCalendar
from steadybead_domain.ids import StationId
from steadybead_domain.times import HOUR, MINUTE, SECOND

BAY = StationId("north", "bay-1")
T0 = 1_777_900_000 * SECOND
KINDS = ("heat_low", "heat_high", "air_lost_heat_on", "station_silent")
WELDER = frozenset({"welder"})
FIRST = Receiver("first", WELDER, Priority.LOW, repeat=30 * MINUTE)
NEXT = Receiver("next", WELDER, Priority.LOW, after=20 * MINUTE)
RECEIVERS = (FIRST, NEXT)
STANDING = (AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED)


class Notices(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.book = AlarmBook(BAY)
        self.router = self.fresh()
        self.now = T0
        self.data_time = T0
        self.kept: list[Notice] = []
        self.waiting: list[str] = []
        self.dead: set[str] = set()

    def fresh(self) -> Router:
        return Router(RECEIVERS, WorkCalendar(), "north", {})

    def alarms(self) -> tuple[Alarm, ...]:
        return self.book.open(max(self.now, self.data_time))

    def turn(self) -> None:
        """Do what the notifier and its couriers do."""
        self.waiting = [name for name in self.waiting if name in self.dead]
        alarms = self.alarms()
        states = {a.raised.alarm: a for a in alarms}
        for notice in self.router.decide(self.now, alarms, set(self.waiting)):
            assert notice.receiver not in self.waiting
            for told in notice.told:
                alarm = states[told.alarm]
                passed = alarm.state is AlarmState.RETURNED
                assert alarm.state in STANDING or (passed and notice.receiver == "first")
                assert alarm.raised.for_whom == "welder"
            self.kept.append(notice)
            self.waiting.append(notice.receiver)

    @initialize(kinds=st.lists(st.sampled_from(KINDS), min_size=1, max_size=3))
    def the_day_begins_badly(self, kinds: list[str]) -> None:
        for kind in kinds:
            self.a_condition_comes(kind, "a")
        self.time_passes(6)

    @rule(minutes=st.sampled_from([0.1, 1, 6, 25, 90]))
    def time_passes(self, minutes: float) -> None:
        self.now += round(minutes * MINUTE)
        self.data_time += round(minutes * MINUTE)
        self.turn()

    @rule(seconds=st.integers(-1800, 1800))
    def the_servers_clock_steps(self, seconds: int) -> None:
        self.now += seconds * SECOND
        self.turn()

    @rule(kind=st.sampled_from(KINDS), gun=st.sampled_from("ab"))
    def a_condition_comes(self, kind: str, gun: str) -> None:
        self.data_time += SECOND
        self.book.apply(Change(self.data_time, kind, True, gun=gun, value=1.0))

    @rule(kind=st.sampled_from(KINDS), gun=st.sampled_from("ab"))
    def a_condition_goes(self, kind: str, gun: str) -> None:
        self.data_time += SECOND
        self.book.apply(Change(self.data_time, kind, False, gun=gun))

    @precondition(lambda self: self.alarms())
    @rule(data=st.data(), kind=st.sampled_from(list(ActKind)))
    def somebody_acts(self, data: st.DataObject, kind: ActKind) -> None:
        alarm = data.draw(st.sampled_from(self.alarms()))
        until = self.now + HOUR if kind is ActKind.SHELVE else None
        name, seen = alarm.raised.alarm, alarm.last_raised
        self.book.note(AlarmAct(name, kind, self.now, "ann", until, "why", seen))

    @rule(name=st.sampled_from([r.name for r in RECEIVERS]))
    def a_receiver_dies_or_comes_back(self, name: str) -> None:
        self.dead ^= {name}

    @rule()
    def the_collector_restarts(self) -> None:
        self.router = self.fresh()
        for notice in self.kept:
            self.router.remember(notice)
        self.turn()

    @invariant()
    def nothing_is_told_twice(self) -> None:
        told = [(n.receiver, t.alarm, t.raised, t.before) for n in self.kept for t in n.told]
        assert len(told) == len(set(told))
        assert len({n.id for n in self.kept}) == len(self.kept)

    def teardown(self) -> None:
        """What still stands when all receivers are back is told to each within the hours."""
        self.dead = set()
        late = max([self.now, self.data_time, *(n.time for n in self.kept)])
        for _ in range(150):
            late += MINUTE
            self.now = self.data_time = late
            self.turn()
        told = {(n.receiver, t.alarm, t.raised) for n in self.kept for t in n.told}
        for alarm in self.alarms():
            if alarm.state in STANDING and alarm.raised.for_whom == "welder":
                for receiver in RECEIVERS:
                    assert (receiver.name, alarm.raised.alarm, alarm.last_raised) in told


Notices.TestCase.settings = settings(max_examples=80, stateful_step_count=30, deadline=None)
test_notices = Notices.TestCase
