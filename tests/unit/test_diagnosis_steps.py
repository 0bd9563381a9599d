"""The columnar helpers against plain loops written down step by step."""

import numpy as np
import pytest

from steadybead_domain.diagnosis.steps import (
    Delay,
    Memory,
    Window,
    changes,
    frozen,
    hold,
    latch,
    run_length,
)

RNG = np.random.default_rng(20260504)
CASES = [(RNG.random(n) < share) for n in (1, 2, 7, 50, 200) for share in (0.05, 0.5, 0.95)]


@pytest.mark.parametrize("on", CASES)
def test_latch_is_a_set_reset_memory(on: np.ndarray) -> None:
    off = RNG.random(len(on)) < 0.3
    for before in (False, True):
        state, expected = before, []
        for is_on, is_off in zip(on, off, strict=True):
            state = True if is_on else False if is_off else state
            expected.append(state)
        assert latch(on, off, before).tolist() == expected


@pytest.mark.parametrize("condition", CASES)
def test_run_length_counts(condition: np.ndarray) -> None:
    run, expected = 3, []
    for holds in condition:
        run = run + 1 if holds else 0
        expected.append(run)
    assert run_length(condition, 3).tolist() == expected


@pytest.mark.parametrize("condition", CASES)
def test_delay_turns_on_and_off_late_and_mutes_at_once(condition: np.ndarray) -> None:
    muted = RNG.random(len(condition)) < 0.05
    active, held, absent, expected = False, 0, 0, []
    for holds, mute in zip(condition, muted, strict=True):
        present = holds and not mute
        held, absent = (held + 1, 0) if present else (0, absent + 1)
        active = True if held >= 3 else False if absent >= 4 or mute else active
        expected.append(active)
    assert Delay(3, 4).update(condition, muted).tolist() == expected


def test_hold_carries_the_last_known_value() -> None:
    values = np.array([1.0, 2.0, 3.0, 4.0])
    known = np.array([False, True, False, True])
    assert hold(values, known, 9.0).tolist() == [9.0, 2.0, 2.0, 4.0]


def test_frozen_spreads_over_steps_that_are_not_judged() -> None:
    judged = np.array([False, True, False, True, False])
    assert frozen(np.array([5, 6]), judged, 4).tolist() == [4, 5, 5, 6, 6]


def test_changes_tell_where_a_column_moves() -> None:
    column = np.array([1, 1, 2, 2, 1])
    assert changes(column, 1) == [2, 4]
    assert changes(column, 0) == [0, 2, 4]


def test_memory_reaches_back_over_blocks_of_any_length() -> None:
    memory, everything = Memory(3), [np.nan] * 3
    for block in ([1.0], [2.0, 3.0], [4.0, 5.0, 6.0, 7.0], [8.0]):
        joined = memory.joined(np.array(block))
        everything += block
        assert joined.tolist()[-len(block) - 3 :] == pytest.approx(
            everything[-len(block) - 3 :], nan_ok=True
        )


@pytest.mark.parametrize("condition", CASES)
def test_a_window_counts_the_last_steps_over_blocks_of_any_length(condition: np.ndarray) -> None:
    window, past = Window(5), [False] * 5
    counted: list[int] = []
    for block in np.array_split(condition, 3):
        if len(block):
            counted += window.update(block).tolist()
    every = past + condition.tolist()
    assert counted == [sum(every[i + 1 : i + 6]) for i in range(len(condition))]


@pytest.mark.parametrize(
    "known", [[], [0], [999], [0, 500, 999], [3, 4, 5], list(range(0, 1000, 7))]
)
def test_a_value_is_held_until_the_next_however_few_there_are(known: list[int]) -> None:
    mask, values = np.zeros(1000, np.bool_), np.arange(1000.0)
    mask[known] = True
    held = hold(values, mask, -1.0)
    assert held.tolist() == [max([-1, *(k for k in known if k <= i)]) for i in range(1000)]
