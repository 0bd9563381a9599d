"""Pacing on virtual time, and what a run publishes."""

import dataclasses
import json
import threading

import pytest

from steadybead_domain.times import SECOND, parse_rfc3339
from steadybead_simulator import demo
from steadybead_simulator.messages import Message
from steadybead_simulator.run import simulate
from steadybead_simulator.scenario import Scenario
from steadybead_simulator.upkeep import Upkeep

NOW = parse_rfc3339("2026-11-02T09:00:00Z") / SECOND


class VirtualTime(threading.Event):
    """A clock that goes on only while somebody waits; stops itself at `until`."""

    def __init__(self, until: float) -> None:
        super().__init__()
        self.now, self._until = NOW, NOW + until

    def wait(self, timeout: float | None = None) -> bool:
        self.now += timeout or 0.0
        if self.now >= self._until:
            self.set()
        return self.is_set()


class Collected:
    def __init__(self, time: VirtualTime) -> None:
        self._time = time
        self.taken: list[tuple[float, Message]] = []

    def publish(self, message: Message) -> None:
        self.taken.append((self._time.now, message))


def run(speed: float, until: float, scenario: Scenario | None = None) -> Collected:
    time = VirtualTime(until)
    collected = Collected(time)
    plant, plain = demo.load()
    simulate(
        plant, scenario or plain, collected, seed=1, speed=speed, stop=time,
        clock=lambda: time.now,
    )  # fmt: skip
    return collected


def test_real_time_stamps_are_now() -> None:
    taken = run(1.0, 30.0).taken
    assert 80 < len(taken) < 100
    for at, message in taken:
        assert at == pytest.approx(message.at / SECOND, abs=0.01)


def test_no_message_leaves_before_its_time() -> None:
    assert all(at >= m.at / SECOND - 0.003 for at, m in run(1.0, 20.0).taken)


def test_ten_times_as_fast_is_ten_times_as_much() -> None:
    taken = run(10.0, 30.0).taken
    assert 850 < len(taken) < 1000
    assert max(m.at for _, m in taken) / SECOND < NOW + 1.0


def test_fast_run_ends_now_so_that_nothing_lies_ahead() -> None:
    plain = demo.load()[1]
    taken = run(float("inf"), 1e9, dataclasses.replace(plain, duration_s=600.0)).taken
    assert len(taken) > 1500
    assert taken[-1][1].at / SECOND == pytest.approx(NOW, abs=2.0)


def test_a_fixed_start_is_kept() -> None:
    start = parse_rfc3339("2026-03-02T06:30:00Z")
    plain = dataclasses.replace(demo.load()[1], start_us=start, duration_s=5.0)
    taken = run(1.0, 60.0, plain).taken
    assert start <= taken[0][1].at < start + SECOND
    assert taken[-1][1].at < start + 5 * SECOND


def test_stop_is_obeyed_at_once() -> None:
    time = VirtualTime(0.0)
    time.set()
    collected = Collected(time)
    plant, plain = demo.load()
    assert simulate(plant, plain, collected, seed=1, stop=time, clock=lambda: time.now) == 0
    assert collected.taken == []


class Upkeeper(Collected):
    """Takes what is sent, and tells of a new filter at bay-2 after `after_s`."""

    def __init__(self, time: VirtualTime, upkeep: Upkeep, after_s: float) -> None:
        super().__init__(time)
        self._upkeep, self._told_at = upkeep, NOW + after_s

    def publish(self, message: Message) -> None:
        super().publish(message)
        if self._time.now >= self._told_at:
            self._told_at = float("inf")
            self._upkeep.filter_cleaned("bay-2", round(self._time.now * SECOND))


def drops(taken: list[tuple[float, Message]]) -> list[tuple[float, float]]:
    """Give time after the start, and drop in Pa, of the packs of bay-2."""
    return [
        (m.at / SECOND - NOW, record["v"])
        for _, m in taken
        if m.topic.endswith("bay-2/senml")
        for record in json.loads(m.payload)
        if record["n"] == "air/filter"
    ]


def test_a_filter_that_is_changed_meanwhile_is_new_from_then_on_and_all_else_is_as_it_was() -> None:
    time, upkeep = VirtualTime(180.0), Upkeep()
    collected = Upkeeper(time, upkeep, 90.0)
    plant, plain = demo.load()
    simulate(
        plant, plain, collected, seed=1, stop=time, clock=lambda: time.now, upkeep=upkeep
    )  # fmt: skip
    without = run(1.0, 180.0).taken
    told = next(i for i, (at, _) in enumerate(collected.taken) if at >= NOW + 90.0)
    assert [m for _, m in collected.taken[: told + 1]] == [m for _, m in without[: told + 1]]
    assert [m.at for _, m in collected.taken] == [m.at for _, m in without]
    pairs = list(zip(drops(collected.taken), drops(without), strict=True))
    before = [(new, old) for (at, new), (_, old) in pairs if at < 90.0]
    after = [(new, old) for (at, new), (_, old) in pairs if at > 92.0 and old > 100.0]
    assert before
    assert all(new == old for new, old in before)
    assert len(after) > 60
    assert all(new < 0.25 * old for new, old in after)
    assert not upkeep.waits
