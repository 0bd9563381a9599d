"""The state function and the transition table say the same."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmFact, AlarmState, Priority
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.alarms.transitions import LATCHING, ORDINARY, Event, as_markdown
from steadybead_domain.ids import StationId
from steadybead_domain.times import MINUTE, SECOND

T0 = 1_777_900_000 * SECOND
HANDBOOK = Path(__file__).parents[2] / "DEVELOPERS.md"


@dataclass
class Story:
    """What happened to one occurrence, minute by minute."""

    latching: bool
    now: int = T0
    facts: list[AlarmFact] = field(default_factory=list)
    acts: list[AlarmAct] = field(default_factory=list)

    def state(self) -> AlarmState:
        if not self.facts:
            return AlarmState.NORMAL
        return alarm_state(self.facts, self.acts, self.now).state

    def tell(self, event: Event) -> "Story":
        self.now += MINUTE
        STEPS[event](self)
        return self

    def fact(
        self, active: bool, suppressed: bool = False, priority: Priority | None = None
    ) -> None:
        known = self.facts[-1].priority if self.facts else Priority.LOW
        self.facts.append(
            replace(
                PLAIN,
                time=self.now,
                active=active,
                suppressed=suppressed,
                latching=self.latching,
                priority=priority or known,
            )
        )

    def act(self, kind: ActKind, until: int | None = None) -> None:
        self.acts.append(AlarmAct("x", kind, self.now, "ann", until, "why"))


PLAIN = AlarmFact(
    alarm="x",
    fingerprint="f",
    kind="heat_low",
    station=StationId("n", "b"),
    gun="a",
    channel=None,
    time=0,
    active=True,
    priority=Priority.LOW,
    latching=False,
    what="",
    value=None,
    limit=None,
    unit="",
    cause="",
    to_do="",
    for_whom="",
)
STEPS: dict[Event, Callable[[Story], None]] = {
    Event.COMES: lambda s: s.fact(True),
    Event.GOES: lambda s: s.fact(False),
    Event.WORSENS: lambda s: s.fact(True, priority=Priority.HIGH),
    Event.ACKNOWLEDGE: lambda s: s.act(ActKind.ACKNOWLEDGE),
    Event.SENSOR_LOST: lambda s: s.fact(True, suppressed=True),
    Event.SENSOR_BACK: lambda s: s.fact(True),
    Event.SHELVE: lambda s: s.act(ActKind.SHELVE, s.now + 10 * MINUTE),
    Event.SHELF_ENDS: lambda s: s.act(ActKind.UNSHELVE),
    Event.TAKE_OUT: lambda s: s.act(ActKind.TAKE_OUT_OF_SERVICE),
    Event.RETURN: lambda s: s.act(ActKind.RETURN_TO_SERVICE),
}
WAY_TO = {
    AlarmState.NORMAL: [],
    AlarmState.UNACKNOWLEDGED: [Event.COMES],
    AlarmState.ACKNOWLEDGED: [Event.COMES, Event.ACKNOWLEDGE],
    AlarmState.RETURNED: [Event.COMES, Event.GOES],
    AlarmState.LATCHED_UNACKNOWLEDGED: [Event.COMES, Event.GOES],
    AlarmState.LATCHED_ACKNOWLEDGED: [Event.COMES, Event.ACKNOWLEDGE, Event.GOES],
    AlarmState.SUPPRESSED: [Event.COMES, Event.SENSOR_LOST],
    AlarmState.SHELVED: [Event.COMES, Event.SHELVE],
    AlarmState.OUT_OF_SERVICE: [Event.COMES, Event.TAKE_OUT],
}
ROWS = [(False, *row) for row in ORDINARY.items()] + [(True, *row) for row in LATCHING.items()]


@pytest.mark.parametrize(("latching", "step", "following"), ROWS)
def test_each_step_of_the_table_is_what_the_function_does(
    latching: bool, step: tuple[AlarmState, Event], following: AlarmState
) -> None:
    state, event = step
    story = Story(latching)
    for before in WAY_TO[state]:
        story.tell(before)
    assert story.state() is state
    assert story.tell(event).state() is following


def test_a_shelf_that_ends_by_itself_is_the_same_step() -> None:
    story = Story(latching=False).tell(Event.COMES).tell(Event.SHELVE)
    assert story.state() is AlarmState.SHELVED
    story.now += 10 * MINUTE
    assert story.state() is AlarmState.UNACKNOWLEDGED


def test_every_state_is_reached_and_left() -> None:
    both = {**ORDINARY, **LATCHING}
    assert {*ORDINARY.values(), *LATCHING.values()} == set(AlarmState)
    assert {state for state, _ in both} == set(AlarmState)


def test_the_handbook_shows_the_table() -> None:
    assert as_markdown() in HANDBOOK.read_text(encoding="utf-8")
