"""From readings to retained alarms over random readings, acts, restarts and clock steps.

Whatever happens, what the broker retains is what facts and acts on record give: no alarm is
lost, none stuck, none double.
"""

import json
from collections import defaultdict
from dataclasses import replace

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from fakes_ingest import NOW, MemoryFacts, Sender
from shop_language import PP, made_station
from steadybead_collector.pipeline import Pipeline
from steadybead_collector.stores.memory import MemoryReadings
from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmFact, AlarmState
from steadybead_domain.alarms.state import BadActError, alarm_state, checked_act
from steadybead_domain.ids import StationId
from steadybead_domain.plant import Plant
from steadybead_domain.ports import StoreError
from steadybead_domain.times import HOUR, MINUTE, SECOND

BAY = StationId("north", "bay-1")
PLANT = Plant("north", "UTC", (made_station("bay-1"),))
ROOT = "steadybead/v1"
SETTLED = 7 * SECOND  # after the last reading, so that nothing waits to be judged
USUAL = {"nozzle": 320.0, "flow": 50.0, "output": 45.0}
DAYS = {
    "usual": {},
    "little air": {"flow": 38.0},
    "no air": {"flow": 0.0},
    "too hot": {"nozzle": 365.0},
    "too cold": {"nozzle": 285.0},
    "off": {"nozzle": 22.0, "flow": 0.0, "output": 0.0},
}


class Readings(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.readings, self.facts = MemoryReadings(), MemoryFacts(changes=[PP])
        self.sender = Sender()
        self.retained: dict[str, bytes] = {}
        self.data_time = NOW
        self.ahead = 0  # the server's clock against the station's
        self.restart()

    @property
    def now(self) -> int:
        return self.data_time + self.ahead

    def publish(self, topic: str, payload: bytes) -> bool:
        if "/alarm/" in topic and payload:
            self.retained[topic] = payload
        else:
            self.retained.pop(topic, None)
        return True

    def restart(self) -> None:
        self.pipeline = Pipeline(PLANT, ROOT, self.readings, self.facts, self.publish)
        self.pipeline.open()
        for topic in self.retained:
            self.pipeline.publisher.found(topic)

    def tick(self) -> None:
        """Judge; where the records do not answer, again."""
        while True:
            try:
                self.pipeline.tick(self.now)
            except StoreError:
                continue
            return

    def told(self) -> dict[str, list[AlarmFact]]:
        found = defaultdict(list)
        for fact in self.facts.alarm_facts.values():
            found[fact.alarm].append(fact)
        return found

    def acts_on(self, alarm: str) -> list[AlarmAct]:
        changes = self.facts.changes
        return [c for c in changes if isinstance(c, AlarmAct) and c.alarm == alarm]

    def run(self, condition: str, length_s: int, *, judged: bool = True) -> None:
        values = USUAL | DAYS[condition]
        for start in range(0, length_s, 30):
            records: list[dict[str, object]] = [
                {
                    "n": f"gun-a/{name}",
                    "t": (self.data_time + s * SECOND) / 1e6,
                    "v": value + s % 7 / 9,
                }
                for s in range(min(30, length_s - start))
                for name, value in values.items()
            ]
            self.data_time += min(30, length_s - start) * SECOND
            self.sender.now = max(self.sender.now, self.now)
            self.pipeline.feed([self.sender.senml(*records)])
            if judged:
                self.tick()

    @initialize()
    def the_gun_warms_up(self) -> None:
        self.run("usual", 120)

    @rule(condition=st.sampled_from(sorted(DAYS)), length_s=st.sampled_from([20, 60, 90]))
    def readings_come(self, condition: str, length_s: int) -> None:
        self.run(condition, length_s)

    @rule(minutes=st.sampled_from([1, 12]))
    def nothing_comes(self, minutes: int) -> None:
        self.data_time += minutes * MINUTE
        self.tick()

    @rule(seconds=st.integers(-90, 90))
    def the_servers_clock_steps(self, seconds: int) -> None:
        self.ahead = max(min(self.ahead + seconds * SECOND, 2 * MINUTE), -2 * MINUTE)

    @precondition(lambda self: self.told())
    @rule(data=st.data(), kind=st.sampled_from(list(ActKind)), hours=st.integers(1, 24))
    def somebody_acts(self, data: st.DataObject, kind: ActKind, hours: int) -> None:
        told = self.told()
        alarm = data.draw(st.sampled_from(sorted(told)))
        until = self.now + hours * HOUR if kind is ActKind.SHELVE else None
        stands = alarm_state(told[alarm], self.acts_on(alarm), self.now)
        act = AlarmAct(alarm, kind, self.now, "ann", until, "why", stands.last_raised)
        try:
            checked_act(act, stands)
        except BadActError:
            return
        self.facts.changes.append(act)

    @rule(condition=st.sampled_from(sorted(DAYS)), seen=st.booleans())
    def the_collector_dies_in_between(self, condition: str, seen: bool) -> None:
        """Readings are durable and not judged, somebody acknowledges, and the process is gone."""
        self.run(condition, 30, judged=False)
        if seen:
            for name, facts in self.told().items():
                raised = alarm_state(facts, self.acts_on(name), self.now).last_raised
                act = AlarmAct(name, ActKind.ACKNOWLEDGE, self.now, "ann", None, "", raised)
                self.facts.changes.append(act)
        self.restart()

    @rule()
    def the_broker_forgets(self) -> None:
        self.retained.clear()
        self.pipeline.publisher.forget()

    @rule()
    def the_records_do_not_answer_for_a_while(self) -> None:
        self.facts.broken = 2

    def settle(self) -> None:
        """Let all that was sent be judged: time goes on, and nothing else does."""
        self.data_time += SETTLED
        for _ in range(3):
            self.data_time += SECOND
            self.tick()

    @invariant()
    def the_broker_retains_what_is_on_record(self) -> None:
        self.settle()
        shown = {}
        for payload in self.retained.values():
            alarm = json.loads(payload)
            shown[alarm["id"]] = (alarm["state"], alarm["last_raised"])
        fingerprints = [json.loads(p)["fingerprint"] for p in self.retained.values()]
        assert len(fingerprints) == len(set(fingerprints))
        recorded = {}
        for name, facts in self.told().items():
            alarm = alarm_state(facts, self.acts_on(name), self.now)
            if alarm.state is not AlarmState.NORMAL:
                recorded[name] = alarm.state.value
        assert {name: state for name, (state, _) in shown.items()} == recorded

    def teardown(self) -> None:
        """None is stuck: in usual running, what is taken back and acknowledged twice is over."""
        self.run("usual", 300)
        for name in self.told():
            for i, kind in enumerate(
                (
                    ActKind.UNSHELVE,
                    ActKind.RETURN_TO_SERVICE,
                    ActKind.ACKNOWLEDGE,
                    ActKind.ACKNOWLEDGE,
                )
            ):
                act = AlarmAct(name, kind, self.now + i, "ann", None, "", self.now)
                self.facts.changes.append(replace(act))
        self.run("usual", 60)
        assert self.retained == {}


Readings.TestCase.settings = settings(max_examples=25, stateful_step_count=12, deadline=None)
test_readings = Readings.TestCase
