"""The list of open alarms holds every alarm whose state is not normal, whatever happened to it."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from records_samples import CHIEF, T0, act, fact
from steadybead_collector.records.schema import alarm_act, alarm_fact
from steadybead_collector.records.store import Records, open_records
from steadybead_domain.alarms.model import ActKind, AlarmAct, AlarmFact, AlarmState, Priority
from steadybead_domain.alarms.state import alarm_state
from steadybead_domain.times import SECOND

NAMES = ["al1", "al2"]


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Records]:
    store = open_records("sqlite", Path(tmp_path_factory.mktemp("alarms")))
    yield store
    store.close()


@st.composite
def facts(draw: st.DrawFn, name: str) -> list[AlarmFact]:
    latching = draw(st.booleans())
    kinds = st.sampled_from(["air-lost", "station_silent"])
    told = [replace(fact(name, 0, active=True, latching=latching), kind=draw(kinds))]
    at_s = 0
    for _ in range(draw(st.integers(0, 8))):
        at_s += draw(st.integers(1, 20))
        told.append(
            replace(
                fact(name, at_s, active=draw(st.booleans()), latching=latching),
                priority=draw(st.sampled_from(Priority)),
                kind=draw(kinds),
                suppressed=draw(st.booleans()),
                merged_into=draw(st.sampled_from(["", "", "", "al9"])),
            )
        )
    return told


@st.composite
def acts(draw: st.DrawFn, name: str) -> list[AlarmAct]:
    done = []
    for _ in range(draw(st.integers(0, 4))):
        kind = draw(st.sampled_from(ActKind))
        until = T0 + draw(st.integers(0, 120)) * SECOND if kind is ActKind.SHELVE else None
        seen = draw(st.none() | st.integers(0, 60))
        done.append(
            replace(
                act(name, draw(st.integers(0, 90)), kind),
                until=until,
                of_raise=None if seen is None else T0 + seen * SECOND,
            )
        )
    return done


@settings(max_examples=80, deadline=None)
@given(data=st.data(), now_s=st.integers(0, 150))
def test_no_alarm_that_is_not_normal_is_left_out(
    records: Records, data: st.DataObject, now_s: int
) -> None:
    with records._database.write() as connection:
        connection.execute(sa.delete(alarm_fact))
        connection.execute(sa.delete(alarm_act))
    expected = {}
    now = T0 + now_s * SECOND
    for name in NAMES:
        told, done = data.draw(facts(name)), data.draw(acts(name))
        records.add_alarm_facts(told)
        for one in done:
            assert records.alarms.act(one, CHIEF, "test")
        expected[name] = alarm_state(told, done, now)
    page = records.alarms.page(10, unsettled_at=now)
    listed = {o.facts[0].alarm for o in page.items}
    assert {n for n, a in expected.items() if a.state is not AlarmState.NORMAL} <= listed
    for occurrence in records.alarms.page(10).items:
        name = occurrence.facts[0].alarm
        assert alarm_state(occurrence.facts, occurrence.acts, now) == expected[name]


def test_settled_alarms_are_left_out(records: Records) -> None:
    records.add_alarm_facts([fact("plain", 0, active=True), fact("plain", 9, active=False)])
    records.alarms.act(act("plain", 5), CHIEF, "test")
    listed = {o.facts[0].alarm for o in records.alarms.page(50, unsettled_at=T0).items}
    assert "plain" not in listed
