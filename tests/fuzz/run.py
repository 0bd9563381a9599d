"""All fuzzing: `python tests/fuzz/run.py [--share X] [--seed N] [--readme] [--json FILE] [name …]`.

Each target runs in a process of its own, under a bound of memory: inputs whose choices Hypothesis
makes, inputs changed at random, and, where it pays and atheris is installed, inputs that look for
new paths through the code. `--replay NAME:NUMBER` feeds one input of the second kind again and
shows what it breaks; an input that a process died of, or hung on, is kept in a file, which
`--replay FILE` feeds again. `--merge FILE …` takes the targets that are not named from what runs
of the same seed wrote by `--json`. The exit code is 1 if any input broke a law.
"""

import argparse
import json
import math
import os
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import psutil

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from fuzz.beat import Beat, Fed, begin, count, rescue  # noqa: E402
from fuzz.laws import Broken, Judge, Tally, by_hypothesis, input_random, mutated, slow  # noqa: E402
from fuzz.targets import TARGETS  # noqa: E402

STUCK_S = 60
ASLEEP_S = 900
MORE_MEMORY = 1 << 30
HYPOTHESIS_SHARE = 0.02
MOST_HYPOTHESIS = 2000
GUIDED = ("senml_json", "senml_cbor", "evidence")
GUIDED_SHARE = 0.2
KEPT = Path(tempfile.gettempdir()) / "steadybead-fuzz-kept"
README = HERE.parents[1] / "README.md"
BEGIN, END = "<!-- fuzz begins -->\n", "<!-- fuzz ends -->"


def main() -> int:
    """Run the targets named, or all; print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="name", help=", ".join(TARGETS))
    parser.add_argument("--share", type=float, default=1.0, help="of the inputs of a full run")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=math.inf, help="most for each target")
    parser.add_argument("--jobs", type=int, default=1, help="targets at once")
    parser.add_argument("--json", type=Path, help="write what was found")
    parser.add_argument("--readme", action="store_true", help="put the table into the README")
    parser.add_argument("--merge", type=Path, nargs="*", default=(), help="of earlier --json")
    parser.add_argument("--replay", metavar="NAME:NUMBER or FILE")
    parser.add_argument("--one", nargs=3, help=argparse.SUPPRESS)
    words = parser.parse_args()
    if unknown := set(words.names) - set(TARGETS):
        parser.error(f"no target {min(unknown)}: there are {', '.join(TARGETS)}")
    if words.one:
        return work(words.one[0], words.one[1], int(words.one[2]), words.seed, words.seconds)
    if words.replay:
        return replay(words.replay, words.seed)
    known = earlier(words.merge)
    tallies: list[Tally] = []
    with ThreadPoolExecutor(words.jobs) as pool:
        names = words.names or list(TARGETS)
        for tally in pool.map(
            lambda name: whole(name, words.share, words.seed, words.seconds), names
        ):
            tallies.append(tally)
            say(row(tally) if len(tallies) > 1 else f"{HEAD}{row(tally)}")
    known |= {tally.target: tally for tally in tallies}
    tallies = [known[name] for name in TARGETS if name in known]
    say(row(total(tallies)))
    for line in findings(tallies):
        say(line)
    if words.json:
        words.json.write_text(json.dumps([t.to_json() for t in tallies], indent=1), "utf-8")
    if words.readme:
        into_readme(tallies, words.seed)
    return 1 if any(t.broken for t in tallies) else 0


def earlier(paths: Sequence[Path]) -> dict[str, Tally]:
    """Read what earlier runs found, by target; the last one counts."""
    rows = [row for path in paths for row in json.loads(path.read_text("utf-8"))]
    return {row["target"]: Tally.of(row) for row in rows}


def whole(name: str, share: float, seed: int, seconds: float) -> Tally:
    """Run one target by all engines, each in a process of its own."""
    full = max(1, round(TARGETS[name].full * share))
    engines = {"mutated": full}
    if name in GUIDED and atheris_there():
        engines["guided"] = max(1, round(full * GUIDED_SHARE))
    tallies = [run_apart(name, engine, inputs, seed, seconds) for engine, inputs in engines.items()]
    for other in tallies[1:]:
        tallies[0].join(other)
    return tallies[0]


def atheris_there() -> bool:
    """Tell whether atheris is installed; say so where it is not."""
    import importlib.util  # noqa: PLC0415

    if importlib.util.find_spec("atheris") is not None:
        return True
    sys.stderr.write("atheris is not installed: no coverage-guided inputs (pip install atheris)\n")
    return False


def run_apart(name: str, engine: str, inputs: int, seed: int, seconds: float) -> Tally:
    """Run one engine in its own process; end it if an input does not come back."""
    with tempfile.TemporaryDirectory(prefix="steadybead-fuzz-") as folder:
        beat = begin(Path(folder))
        command = command_of(name, engine, inputs, seed, seconds)
        environment = {**os.environ, "FUZZ_FOLDER": folder, "PYTHONHASHSEED": "0"}
        with (Path(folder) / "err").open("wb") as errors:
            process = subprocess.Popen(command, env=environment, stderr=errors, stdout=errors)
            stuck = wait(process, beat)
        said = (Path(folder) / "err").read_text("utf-8", "replace")
        report = Path(folder) / "tally.json"
        if report.exists() and not stuck:
            return Tally.of(json.loads(report.read_text("utf-8")))
        what = f"no answer within {STUCK_S} s" if stuck else f"exit code {process.returncode}"
        return died(name, engine, seed, Path(folder), f"{what}: {said[-600:]}")


def command_of(name: str, engine: str, inputs: int, seed: int, seconds: float) -> list[str]:
    """Give the command of one engine's process."""
    command = [sys.executable, str(HERE / "run.py"), "--seed", str(seed)]
    return [*command, "--seconds", str(seconds), "--one", name, engine, str(inputs)]


def died(name: str, engine: str, seed: int, folder: Path, what: str) -> Tally:
    """Tell of a process that did not come to its end, and keep its last input."""
    number = count(folder)
    tally = Tally(name, number, refused=max(0, number - 1))
    found = rescue(folder, KEPT, seed)
    if found is None:
        tally.broken = [Broken(what, engine, "before the first input", "")]
    else:
        path, fed = found
        tally.broken = [Broken(what, engine, fed.name, f"kept in {path}: {fed.given!r}"[:2000])]
    return tally


def wait(process: "subprocess.Popen[bytes]", beat: Path) -> bool:
    """Wait for the process while it makes progress; True if it had to be killed.

    Stuck is what works for long, or sleeps for very long, on one input: the machine may be busy.
    """
    last, since, worked = b"", time.monotonic(), 0.0
    while process.poll() is None:
        time.sleep(0.2)
        now, work_s = beat.read_bytes(), worked_s(process.pid)
        if now != last:
            last, since, worked = now, time.monotonic(), work_s
        elif work_s - worked > STUCK_S or time.monotonic() - since > ASLEEP_S:
            process.kill()
            process.wait()
            return True
    return False


def worked_s(process: int) -> float:
    """Give the processor time of a process, 0 if it has ended."""
    try:
        times = psutil.Process(process).cpu_times()
    except psutil.Error:
        return 0.0
    return float(times.user + times.system)


def work(name: str, engine: str, inputs: int, seed: int, seconds: float) -> int:
    """Run one engine here, in a process made for it."""
    folder = Path(os.environ["FUZZ_FOLDER"])
    room = folder / "room"
    room.mkdir()
    target = TARGETS[name].build(room)
    if not name.startswith("http"):  # threads take address space of their own
        bound_memory()
    beat = Beat(folder, name, engine)
    judge = Judge(target, beat)
    judge.until = time.monotonic() + seconds

    def keep() -> None:
        judge.tally.target = name
        text = json.dumps(judge.tally.to_json())
        (folder / "tally.part").write_text(text, "utf-8")
        (folder / "tally.part").replace(folder / "tally.json")

    signal.signal(signal.SIGPROF, slow)
    if engine == "guided":
        from fuzz.guided import guided  # noqa: PLC0415

        guided(judge, inputs, seed, keep)
    elif target.run is not None:
        target.run(judge, inputs, seed)
    else:
        by_hypothesis(judge, min(MOST_HYPOTHESIS, max(1, round(inputs * HYPOTHESIS_SHARE))))
        mutated(judge, inputs - judge.tally.inputs, seed)
    keep()
    beat.close()
    return 0


def bound_memory() -> None:
    """Let this process map at most a gigabyte more than it has."""
    found = re.search(r"VmSize:\s+(\d+) kB", Path("/proc/self/status").read_text("ascii"))
    if found is not None:
        most = int(found[1]) * 1024 + MORE_MEMORY
        resource.setrlimit(resource.RLIMIT_AS, (most, most))


def replay(word: str, seed: int) -> int:
    """Feed one input again, with the traceback of what it breaks."""
    name, _, number = word.partition(":")
    fed = Fed.read(Path(word)) if Path(word).is_file() else None
    with tempfile.TemporaryDirectory(prefix="steadybead-fuzz-") as folder:
        target = TARGETS[fed.target if fed else name].build(Path(folder))
        given = fed.given if fed else target.make(input_random(target.name, seed, int(number)))
        feed = target.feed_bytes if fed and fed.engine == "guided" else target.feed
        assert feed is not None
        say(f"{given!r}"[:5000])
        say("accepted" if feed(given) else "refused")
    return 0


HEAD = (
    "| target | inputs | seconds | accepted | refused | crashes | slowest input | memory |\n"
    "| --- | --- | --- | --- | --- | --- | --- | --- |\n"
)


def row(tally: Tally) -> str:
    """Write a tally as a row of a Markdown table."""
    return (
        f"| {tally.target} | {tally.inputs:,} | {tally.seconds:.0f} | {tally.accepted:,} |"
        f" {tally.refused:,} | {tally.crashes or '0'} | {tally.slowest_s * 1e3:.0f} ms |"
        f" +{tally.grown_mb:.0f} MB |"
    )


def total(tallies: list[Tally]) -> Tally:
    """Sum all targets."""
    summed = Tally("all")
    for tally in tallies:
        summed.join(tally)
    summed.broken = [b for t in tallies for b in t.broken]
    return summed


def findings(tallies: list[Tally]) -> list[str]:
    """Name each law that was broken, with the input that shows it."""
    return [
        f"\n{b.times} × {b.what}\n  at {b.where}, first {b.first}\n  {b.shown[:600]}"
        for tally in tallies
        for b in tally.broken
    ]


def into_readme(tallies: list[Tally], seed: int) -> None:
    """Put the table between the marks."""
    text = README.read_text("utf-8")
    head, _, rest = text.partition(BEGIN)
    _, mark, tail = rest.partition(END)
    if not mark:
        raise SystemExit(f"{README}: the marks are missing")
    rows = "\n".join(map(row, [*tallies, total(tallies)]))
    README.write_text(f"{head}{BEGIN}Seed {seed}.\n\n{HEAD}{rows}\n{mark}{tail}", "utf-8")


def say(line: Any) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
