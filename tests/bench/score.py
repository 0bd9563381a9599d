"""The scoreboard of the diagnosis over simulated station-months.

`python tests/bench/score.py [--months N] [--seed S] [--short] [--jobs N] [--keep DIR]
[--json FILE] [--picture FILE]`

Faults of random kind, size and onset at three levels of instrumentation, months without any,
filters followed to their limit, thermocouples off by a known size; beside it simple detectors on
the same readings. Scoring seeds begin at 1000; nothing is tuned on them. `--short`: 38 spans of
2 to 15 short days, one fault each; it shows that the scoreboard works, its figures mean little.
`--jobs`: spans walked at once, each in a process; the result is the same. `--keep`: what came of
each span is kept in that folder and taken from there, so that a run that was stopped goes on. It
is for one state of the code: use an empty folder after a change.
"""

import argparse
import multiprocessing
import pickle
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.score_picture import picture
from bench.score_report import report, to_json
from bench.score_shop import FIRST_SEED, Span, spans
from bench.score_tables import Results
from bench.score_walk import walk

ROUND_MONTHS = 16.5
DEFAULT_MONTHS = 100


def score(
    rounds: int,
    seed: int,
    *,
    short: bool,
    say: Callable[[str], object],
    jobs: int = 1,
    keep: Path | None = None,
) -> tuple[Results, float]:
    """Walk and judge all spans; give the results and the processor time they took, s."""
    results, cost_s = Results(), 0.0
    todo = spans(rounds, seed, short=short)
    for number, (span, own, cost) in enumerate(_judged(todo, jobs, keep), 1):
        results.join(own)
        cost_s += cost
        say(f"{number}: {span.kind}, {span.level}, seed {span.seed}, {cost:.1f} s\n")
    return results, cost_s


Judged = tuple[Span, Results, float]


def _judged(todo: Iterable[Span], jobs: int, keep: Path | None) -> Iterator[Judged]:
    """Give each span with what came of it, in the order of the spans."""
    judge = partial(_judge, keep=keep)
    if jobs == 1:
        yield from map(judge, todo)
        return
    with multiprocessing.Pool(jobs) as pool:
        yield from pool.imap(judge, todo)


def _judge(span: Span, keep: Path | None) -> Judged:
    name = f"{span.kind}-{span.level}-{span.seed}-{span.days}.pickle".replace(" ", "")
    kept = None if keep is None else keep / name
    if kept is not None and kept.exists():
        own, cost = pickle.loads(kept.read_bytes())  # noqa: S301 - our own file
        return span, own, cost
    own, begun = Results(), time.process_time()
    own.add(walk(span))
    cost = time.process_time() - begun
    if kept is not None:
        kept.parent.mkdir(parents=True, exist_ok=True)
        part = kept.with_suffix(".part")
        part.write_bytes(pickle.dumps((own, cost)))
        part.replace(kept)
    return span, own, cost


def head_of(results: Results, seed: int, cost_s: float, *, short: bool) -> str:
    """Describe the run in a sentence."""
    months = sum(s["months"] for s in results.spans)
    form = "short form, figures mean little; " if short else ""
    return (
        f"{form}{len(results.spans)} spans, {months:.0f} simulated station-months, "
        f"{len(results.faults) + len(results.drifts)} faults, scoring seeds from {seed}, "
        f"{cost_s / 60:.0f} min of one core.\n"
    )


def main() -> int:
    """Run the scoreboard; exit code 0 whether goals are met or not."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--months", type=int, default=DEFAULT_MONTHS)
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--picture", type=Path)
    words = parser.parse_args()
    if words.months < 1 or words.seed < 0 or words.jobs < 1:
        parser.error("--months and --jobs must be at least 1 and --seed at least 0")
    rounds = 1 if words.short else max(1, round(words.months / ROUND_MONTHS))
    results, cost_s = score(
        rounds,
        words.seed,
        short=words.short,
        say=sys.stderr.write,
        jobs=words.jobs,
        keep=words.keep,
    )
    frames = results.frames()
    sys.stdout.write(report(frames, head_of(results, words.seed, cost_s, short=words.short)))
    if words.json:
        facts = {"seed": words.seed, "short": words.short, "cpu_s": cost_s}
        words.json.write_text(to_json(frames, facts), "utf-8")
    if words.picture:
        words.picture.write_text(picture(frames["faults"], frames["taken"]), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
