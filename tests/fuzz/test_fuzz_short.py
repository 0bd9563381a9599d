"""Every target in its short form: no input breaks a law. `make fuzz` runs the full counts."""

from pathlib import Path

import pytest

from fuzz.laws import Judge, Tally, by_hypothesis, law, mutated
from fuzz.targets import TARGETS

SEED = 2


@pytest.mark.parametrize("name", [name for name, entry in TARGETS.items() if entry.short])
def test_no_input_breaks_a_law(name: str, tmp_path: Path) -> None:
    entry = TARGETS[name]
    target = entry.build(tmp_path)
    judge = Judge(target, patient=True)
    try:
        by_hypothesis(judge, max(2, entry.short // 20))
        mutated(judge, entry.short, SEED)
    finally:
        target.close()
    told = [(b.what, b.where, b.first, b.shown[:300]) for b in judge.tally.broken]
    assert told == []
    assert judge.tally.inputs >= entry.short


def test_a_target_that_breaks_its_law_is_told_with_the_input() -> None:
    target = TARGETS["times"].build(Path())

    def feed(given: str) -> bool:
        law(given.isascii(), "letters from elsewhere")
        return True

    judge = Judge(target)
    assert judge.take("times:1", "2026", feed)
    assert not judge.take("times:2", "é", feed)
    assert not judge.take("times:3", "ü", feed)
    broken = judge.tally.broken
    assert [(b.first, b.times) for b in broken] == [("times:2", 2)]
    assert "letters from elsewhere" in broken[0].what
    assert Tally.of(judge.tally.to_json()) == judge.tally
