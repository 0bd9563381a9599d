"""Every target in its short form: no input breaks a law. `make fuzz` runs the full counts."""

import json
import math
import sys
from pathlib import Path

import pytest

from fuzz import laws, run
from fuzz.beat import Fed
from fuzz.laws import Judge, LawError, Tally, by_hypothesis, law, mutated
from fuzz.targets import TARGETS
from fuzz.web import Answer, Asked, judged

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


def test_memory_is_counted_within_an_input_only(monkeypatch: pytest.MonkeyPatch) -> None:
    peaks = iter([100.0, 306.0, 306.0, 306.0, 380.0])
    monkeypatch.setattr(laws, "peak_megabytes", lambda: next(peaks))
    judge = Judge(TARGETS["times"].build(Path()))
    assert judge.take("times:1", "2026", lambda _: True)  # 206 MB before it
    assert not judge.take("times:2", "2026", lambda _: True)  # 74 MB within it
    assert [b.what for b in judge.tally.broken] == ["74 MB more memory"]
    assert judge.tally.grown_mb == 280.0


DEADLY = """
import os, sys
sys.path.insert(0, {tests!r})
from fuzz import run
from fuzz.laws import Target

def feed(given):
    if given[0] % 40 == 7:
        os.abort()
    return True

class Deadly:
    def build(self, folder):
        return Target("deadly", lambda draw: (draw.randrange(10**6), "é"), feed)

run.TARGETS["deadly"] = Deadly()
sys.exit(run.work("deadly", "mutated", 5000, 3, 1e9))
"""


def test_the_input_that_a_process_dies_of_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = DEADLY.format(tests=str(Path(__file__).resolve().parents[1]))
    monkeypatch.setattr(run, "command_of", lambda *_: [sys.executable, "-c", script])
    monkeypatch.setattr(run, "KEPT", tmp_path)
    tally = run.run_apart("deadly", "mutated", 5000, 3, math.inf)
    [broken] = tally.broken
    [path] = tmp_path.iterdir()
    assert "exit code -6" in broken.what
    assert f"kept in {path}: " in broken.shown
    assert f"kept in {path}: " in run.findings([tally])[0]
    fed = Fed.read(path)
    assert (fed.target, fed.engine, fed.name) == ("deadly", "mutated", broken.first)
    assert fed.given[0] % 40 == 7
    assert fed.given[1] == "é"


def test_a_kept_input_is_fed_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    beat_folder = tmp_path / "beat"
    beat_folder.mkdir()
    run.begin(beat_folder)
    assert run.rescue(beat_folder, tmp_path, 1) is None
    beat = run.Beat(beat_folder, "times", "mutated")
    beat(1, "times:0", "2026-05-04T07:30:00Z")
    beat.close()
    found = run.rescue(beat_folder, tmp_path, 1)
    assert found is not None
    assert run.replay(str(found[0]), 1) == 0
    assert capsys.readouterr().out == "'2026-05-04T07:30:00Z'\naccepted\n"


def test_an_earlier_run_stands_for_the_targets_that_are_not_named(tmp_path: Path) -> None:
    whole, again = tmp_path / "whole.json", tmp_path / "again.json"
    rows = [Tally("topics", 7).to_json(), Tally("times", 5).to_json()]
    whole.write_text(json.dumps(rows), "utf-8")
    again.write_text(json.dumps([Tally("times", 6).to_json()]), "utf-8")
    known = run.earlier([whole, again])
    assert known == {"topics": Tally("topics", 7), "times": Tally("times", 6)}
    assert run.earlier(()) == {}


@pytest.mark.parametrize("path", [b"/readyz", b"/ready\xff\xfez", b"/ready%7A"])
def test_not_ready_is_no_break_however_the_path_was_written(path: bytes) -> None:
    answer = Answer()
    answer.status = 503
    answer.headers = {b"content-security-policy": b"x", b"x-content-type-options": b"nosniff"}
    assert not judged(Asked("GET", path, b"", [], b"", 0), answer)
    with pytest.raises(LawError, match="status 503"):
        judged(Asked("GET", b"/api/v1/live", b"", [], b"", 0), answer)
