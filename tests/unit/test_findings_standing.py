"""Which findings stand, what ends them, and their order."""

from dataclasses import replace

from maintenance_samples import BAY_1, T0, drift_finding, filter_change, filter_finding
from steadybead_domain.diagnosis.standing import (
    Ended,
    Urgency,
    ended,
    finding_id,
    subject_of,
    urgency_of,
)
from steadybead_domain.ids import ChannelId, StationId
from steadybead_domain.maintenance import FilterChange, FilterWork
from steadybead_domain.times import DAY, HOUR, SECOND

NOZZLE = ChannelId("north", "bay-1", "gun-a/nozzle")


def test_the_same_conclusion_has_the_same_id_however_often_it_is_told() -> None:
    assert finding_id(drift_finding(0)) == finding_id(replace(drift_finding(99), value=7.0))
    assert finding_id(drift_finding()) != finding_id(drift_finding(since_s=-60))
    assert finding_id(drift_finding()) != finding_id(replace(drift_finding(), gun="b"))
    assert len(finding_id(drift_finding())) <= 64


def test_all_of_one_filter_and_all_drift_of_a_gun_are_one_subject() -> None:
    assert subject_of(filter_finding()) == subject_of(filter_finding("filter_limit"))
    assert subject_of(drift_finding()) == subject_of(drift_finding(kind="drift_cannot_tell"))
    assert subject_of(drift_finding()) != subject_of(replace(drift_finding(), gun="b"))
    assert subject_of(drift_finding()) != subject_of(drift_finding(kind="sensor_spikes"))
    other = replace(drift_finding(kind="sensor_spikes"), channel=None)
    assert subject_of(other) != subject_of(drift_finding(kind="sensor_spikes"))


def test_a_word_that_it_is_over_stands_for_the_same_and_ends_itself() -> None:
    over = replace(drift_finding(7200), kind="drift_over")
    assert subject_of(over) == subject_of(drift_finding())
    assert urgency_of(over) is Urgency.KNOW
    assert ended(over, None, [], [], over.time) == Ended(over.time, "all is as before")
    slow = drift_finding(kind="element_warm_up_slow")
    assert subject_of(replace(slow, kind="element_warm_up_slow_over")) == subject_of(slow)


def test_element_ageing_weighed_among_causes_is_drift_and_seen_alone_is_not() -> None:
    weighed = drift_finding(kind="element_ageing")
    assert subject_of(weighed) == subject_of(drift_finding())
    assert subject_of(replace(weighed, evidence=())) != subject_of(drift_finding())


def test_urgency() -> None:
    assert urgency_of(filter_finding("filter_limit")) is Urgency.NOW
    assert urgency_of(filter_finding("filter_due", hours=40.0)) is Urgency.PLAN
    assert urgency_of(filter_finding("filter_due", hours=11.0)) is Urgency.NOW  # low: 7.7 h
    assert urgency_of(filter_finding("filter_due", hours=None)) is Urgency.PLAN
    assert urgency_of(filter_finding()) is Urgency.KNOW
    assert urgency_of(drift_finding()) is Urgency.SOON
    assert sorted(Urgency) == [Urgency.NOW, Urgency.SOON, Urgency.PLAN, Urgency.KNOW]


def test_a_finding_stands_until_something_ends_it() -> None:
    now = T0 + 30 * DAY
    assert ended(drift_finding(), None, [], [], now) is None
    assert ended(drift_finding(), T0 + HOUR, [], [], now) == Ended(T0 + HOUR, "a newer finding")
    fitted = [(NOZZLE, T0 - DAY), (NOZZLE, T0 + 2 * HOUR), (NOZZLE, now + DAY)]
    found = ended(drift_finding(), T0 + 3 * HOUR, [], fitted, now)
    assert found == Ended(T0 + 2 * HOUR, "another instrument was fitted")


def test_a_recorded_change_ends_what_was_said_of_that_filter_before() -> None:
    due = filter_finding("filter_due", 60)
    now = T0 + DAY
    changed = filter_change(at_s=120)
    assert ended(due, None, [changed], [], now) == Ended(T0 + 120 * SECOND, "filter changed")
    looked = filter_change(at_s=120, work=FilterWork.INSPECTED)
    earlier = filter_change(at_s=30)
    elsewhere = FilterChange(StationId("north", "bay-2"), T0 + 120 * SECOND)
    assert ended(due, None, [looked, earlier, elsewhere], [], now) is None
    assert ended(drift_finding(), None, [changed], [], now) is None
    assert changed.station == BAY_1


def test_signs_of_a_sensor_pass_when_they_are_not_seen_again() -> None:
    spikes = drift_finding(kind="sensor_spikes")
    assert ended(spikes, None, [], [], T0 + DAY) is None
    found = ended(spikes, None, [], [], T0 + 5 * DAY)
    assert found is not None
    assert (found.by, found.time) == ("not seen again", T0 + 4 * DAY)
