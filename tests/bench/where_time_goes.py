"""Where time goes in `steadybead run`: `tests/bench/where_time_goes.py [busy|flood|start …]`.

`busy`: forty stations send 2,000 readings a second while a page listens. `flood`: as many messages
as it can take. Of both, the shares of the time in which a thread holds the interpreter's lock, by
what it does (py-spy, which is not among the requirements: pip install py-spy). `start`: the time of
loading code up to the printed address, by package (-X importtime).
"""

import argparse
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

import psutil

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from bench.bench_latency import Heard, listening, page_open, send  # noqa: E402  the path first
from bench.bench_line import messages, publishing, serving  # noqa: E402
from raw_publisher import packets, save  # noqa: E402
from whole_process import Server, command, environment, write_plant  # noqa: E402

SETTLED_S, WATCHED_S, FLOOD = 10.0, 30, 100_000
# What a thread does, by a part of the name of a thread or a function; the first that fits counts.
KINDS = (
    ("the pages' subscriber hears live values", "live feed"),
    ("HTTP and server-sent events", "MainThread"),
    ("HTTP and server-sent events", "AnyIO worker"),
    ("network thread of the collector", ": mqtt"),
    ("verdicts and roots of records", "verdicts"),
    ("decoding and conversion", "Intake."),
    ("commit, acknowledgement, passing on", "Collector._take_in"),
    ("saving states of the diagnosis", "Pipeline._save"),
    ("telling values and alarms", "Publisher."),
    ("telling values and alarms", "glimpse"),
    ("judging stations", "Diagnoses.advance"),
    ("facts, acts and the rest of the writer", "writer"),
)
PACKAGES = ("steadybead", "fastapi", "starlette", "pydantic", "sqlalchemy", "numpy", "uvicorn")


def main() -> int:
    """Profile what is named, or all."""
    looks = {"busy": busy, "flood": flood, "start": start}
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", choices=[*looks, []], metavar="name")
    names = parser.parse_args().names or list(looks)
    if spy() is None and set(names) - {"start"}:
        parser.error("py-spy is not installed: pip install py-spy")
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    for name in names:
        found = looks[name]()
        whole = sum(found.values())
        sys.stdout.write(f"\n| {name} | share |\n| --- | --- |\n")
        for kind, part in found.most_common():
            sys.stdout.write(f"| {kind} | {100 * part / whole:.0f} % |\n")
        sys.stdout.flush()
    return 0


def spy() -> str | None:
    """Find py-spy, also in an environment that is not activated."""
    folders = [str(Path(sys.executable).parent), os.environ.get("PATH", "")]
    return shutil.which("py-spy", path=os.pathsep.join(folders))


def busy() -> Counter[str]:
    """Profile at 2,000 readings a second."""
    with serving() as (server, port), listening(port, heard := Heard()) as client:
        sender = threading.Thread(target=send, args=(client, SETTLED_S + WATCHED_S + 5, {}))
        with page_open(server, heard):
            sender.start()
            time.sleep(SETTLED_S)
            found = locked(server, WATCHED_S)
            sender.join()
    return found


def flood() -> Counter[str]:
    """Profile while more comes than can be taken."""
    with (
        tempfile.TemporaryDirectory(prefix="profile-packets-") as name,
        serving() as (server, port),
    ):
        save(Path(name) / "packets", packets(messages(FLOOD)))
        with publishing(port, Path(name)):
            time.sleep(2.0)
            found = locked(server, 10)
    return found


def locked(server: Server, seconds: int) -> Counter[str]:
    """Sample who holds the interpreter's lock; tell how busy the process was."""
    process, began = psutil.Process(server.process.pid), time.perf_counter()
    before = process.cpu_times()
    with tempfile.NamedTemporaryFile(suffix=".txt") as out:
        words = [
            str(spy()),
            "record",
            "--gil",
            "--threads",
            "--nonblocking",
            "--format",
            "raw",
            "--rate",
            "100",
        ]
        words += ["--duration", str(seconds), "--output", out.name, "--pid", str(process.pid)]
        subprocess.run(words, check=True, capture_output=True)
        stacks = Path(out.name).read_text("utf-8").splitlines()
    after, took = process.cpu_times(), time.perf_counter() - began
    used = (after.user + after.system - before.user - before.system) / took
    sys.stdout.write(f"\nthe process took {100 * used:.0f} % of a core\n")
    found: Counter[str] = Counter()
    for text in stacks:
        stack, _, samples = text.rpartition(" ")
        kind = next((kind for kind, part in KINDS if part in stack), "other threads")
        found[kind] += int(samples)
    return found


def start() -> Counter[str]:
    """Add up what loading code takes, each module without what it loads itself."""
    with tempfile.TemporaryDirectory(prefix="profile-start-") as name:
        config = write_plant(Path(name), None)
        words = ["run", "--config", str(config), "--data", name, "--port", "0"]
        Server(*words).kill()  # stores and bytecode are there
        python, *rest = command(*words)
        began = time.perf_counter()
        process = subprocess.Popen(
            [python, "-X", "importtime", *rest],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(),
        )
        lines: list[str] = []
        assert process.stdout is not None
        assert process.stderr is not None
        reader = threading.Thread(target=lines.extend, args=(process.stderr,))
        reader.start()
        process.stdout.readline()
        took = time.perf_counter() - began
        process.send_signal(signal.SIGTERM)
        process.wait(30)
        reader.join(30)
    found: Counter[str] = Counter()
    for match in filter(
        None, (re.match(r"import time: +(\d+) \| +\d+ \| +(\w+)", t) for t in lines)
    ):
        package = next((p for p in PACKAGES if match[2].startswith(p)), "the rest")
        found[package] += int(match[1])
    loading = sum(found.values()) / 1e6
    sys.stdout.write(f"\n{took:.2f} s to the address, {loading:.2f} s of them in loading code\n")
    return found


if __name__ == "__main__":
    sys.exit(main())
