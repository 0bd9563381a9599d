"""Alarms over random sequences of conditions, acts, restarts and clock steps.

No alarm is lost, none stuck, none double, and the book of the collector says of each occurrence
what the state function says of all its facts and acts, as the API reads them from the records.
"""

import json
from collections import defaultdict

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from steadybead_domain.alarms.book import AlarmBook
from steadybead_domain.alarms.change import Change
from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmFact, AlarmState
from steadybead_domain.alarms.state import LONGEST_SHELF, BadActError, alarm_state, checked_act
from steadybead_domain.ids import StationId
from steadybead_domain.times import HOUR, MINUTE, SECOND

BAY = StationId("north", "bay-1")
T0 = 1_777_900_000 * SECOND
PLACES = [
    ("heat_low", "a"),
    ("heat_high", "a"),
    ("heat_high_fume", "a"),
    ("air_lost_heat_on", "a"),
    ("air_stopped_hot", "a"),
    ("air_stopped_hot", "b"),
    ("station_silent", "a"),
    ("station_silent_hot", "a"),
]
FAMILY = {
    "heat_low": "heat_low",
    "heat_high": "heat_high",
    "heat_high_fume": "heat_high",
    "air_lost_heat_on": "air_lost",
    "air_stopped_hot": "air_lost",
    "station_silent": "station_silent",
    "station_silent_hot": "station_silent",
}
ACTS = list(ActKind)


class Alarms(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.book = AlarmBook(BAY)
        self.data_time = T0
        self.server_time = T0
        self.active: set[tuple[str, str]] = set()
        self.suppressed: set[tuple[str, str]] = set()
        self.facts: dict[str, list[AlarmFact]] = defaultdict(list)
        self.acts: dict[str, list[AlarmAct]] = defaultdict(list)

    def keep(self, facts: list[AlarmFact]) -> None:
        for fact in facts:
            key = (fact.time, fact.active)
            assert key not in {(f.time, f.active) for f in self.facts[fact.alarm]}
            self.facts[fact.alarm].append(fact)

    @rule(seconds=st.sampled_from([1, 20, 300, 900, 7200]))
    def time_passes(self, seconds: int) -> None:
        self.data_time += seconds * SECOND
        self.server_time += seconds * SECOND

    @rule(seconds=st.integers(-600, 600))
    def the_servers_clock_steps(self, seconds: int) -> None:
        self.server_time += seconds * SECOND

    @rule(place=st.sampled_from(PLACES))
    def a_condition_comes(self, place: tuple[str, str]) -> None:
        kind, gun = place
        self.data_time += SECOND
        self.keep(self.book.apply(Change(self.data_time, kind, True, gun=gun, value=1.0)))
        self.active.add((FAMILY[kind], gun))
        self.suppressed.discard((FAMILY[kind], gun))

    @rule(place=st.sampled_from(PLACES))
    def a_condition_goes(self, place: tuple[str, str]) -> None:
        kind, gun = place
        self.data_time += SECOND
        self.keep(self.book.apply(Change(self.data_time, kind, False, gun=gun)))
        self.active.discard((FAMILY[kind], gun))
        self.suppressed.discard((FAMILY[kind], gun))

    @precondition(lambda self: self.active)
    @rule(data=st.data())
    def a_sensor_breaks(self, data: st.DataObject) -> None:
        family, gun = data.draw(st.sampled_from(sorted(self.active)))
        kind = next(k for k, f in FAMILY.items() if f == family)
        self.data_time += SECOND
        change = Change(self.data_time, kind, True, gun=gun, suppressed=True)
        self.keep(self.book.apply(change))
        self.suppressed.add((family, gun))

    @precondition(lambda self: self.facts)
    @rule(
        data=st.data(),
        kind=st.sampled_from(ACTS),
        again=st.booleans(),
        hours=st.integers(1, LONGEST_SHELF // HOUR + 2),
    )
    def somebody_acts(self, data: st.DataObject, kind: ActKind, again: bool, hours: int) -> None:
        alarm = data.draw(st.sampled_from(sorted(self.facts)))
        until = self.server_time + hours * HOUR if kind is ActKind.SHELVE else None
        raised = max(f.time for f in self.facts[alarm] if f.active)
        act = AlarmAct(alarm, kind, self.server_time, "ann", until, "why", raised)
        stands = alarm_state(self.facts[alarm], self.acts[alarm], self.server_time)
        try:
            checked_act(act, stands)
        except BadActError:
            return
        for _ in range(1 + again):
            self.book.note(act)
            if act not in self.acts[alarm]:
                self.acts[alarm].append(act)
        self.server_time += MINUTE

    @rule()
    def the_collector_restarts(self) -> None:
        data = json.loads(json.dumps(self.book.dump()))
        self.book = AlarmBook(BAY)
        self.book.load(data)

    @rule()
    def the_same_evidence_comes_again(self) -> None:
        for family, gun in self.active - self.suppressed:
            place = self.book.current[f"{BAY}/{gun}:{family}"]
            change = Change(place.latest.time, place.latest.kind, True, gun=gun)
            assert self.book.apply(change) == []

    @invariant()
    def none_lost_and_none_double(self) -> None:
        now = max(self.data_time, self.server_time)
        shown = self.book.open(now)
        places = [a.raised.fingerprint for a in shown]
        assert len(places) == len(set(places))
        active = {a.raised.fingerprint for a in shown if a.active}
        assert active == {f"{BAY}/{gun}:{family}" for family, gun in self.active}

    @invariant()
    def the_records_say_the_same(self) -> None:
        now = max(self.data_time, self.server_time)
        shown = {a.raised.alarm: a.state for a in self.book.open(now)}
        recorded = {
            alarm: alarm_state(facts, self.acts[alarm], now).state
            for alarm, facts in self.facts.items()
        }
        open_records = {a: s for a, s in recorded.items() if s is not AlarmState.NORMAL}
        assert shown == open_records

    def teardown(self) -> None:
        """None is stuck: with the conditions gone, two acknowledgements end every alarm."""
        for family, gun in sorted(self.active):
            kind = next(k for k, f in FAMILY.items() if f == family)
            self.data_time += SECOND
            self.book.apply(Change(self.data_time, kind, False, gun=gun))
        now = max(self.data_time, self.server_time) + MINUTE
        for alarm in self.book.open(now):
            for i, kind in enumerate(
                (
                    ActKind.UNSHELVE,
                    ActKind.RETURN_TO_SERVICE,
                    ActKind.ACKNOWLEDGE,
                    ActKind.ACKNOWLEDGE,
                )
            ):
                self.book.note(AlarmAct(alarm.raised.alarm, kind, now + i * SECOND, "ann"))
        assert self.book.open(now + HOUR) == ()


Alarms.TestCase.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
test_alarms = Alarms.TestCase
