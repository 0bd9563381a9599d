"""Starts `steadybead` commands as processes of their own, by forking one that has loaded the code.

A start from nothing takes seconds of loading; with it, most of the time of fifty kills would go
to that. Run as `python -m faults.nursery`: reads one JSON object a line (`words`, `out`, `log`),
answers with the process id of the command that it has started.
"""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

from whole_process import environment


def bear(words: list[str], out: Path, log: Path) -> int:
    """Fork a command; give its process id."""
    pid = os.fork()
    if pid:
        return pid
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.setsid()
    for number, path, flags in (
        (0, Path(os.devnull), os.O_RDONLY),
        (1, out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC),
        (2, log, os.O_WRONLY | os.O_CREAT | os.O_APPEND),
    ):
        os.dup2(os.open(path, flags, 0o600), number)
    code = 70
    try:
        code = _run(words)
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _run(words: list[str]) -> int:
    """Run a command of the product, or the collector with a clock of the harness's."""
    if words[0] == "stepped":
        from faults import stepped  # noqa: PLC0415

        return stepped.main(words[1:])
    from steadybead_api.command import main  # noqa: PLC0415

    return main(words)


def serve() -> None:
    """Load everything, then start what is asked for."""
    import steadybead_api.command  # noqa: PLC0415
    import steadybead_api.compose  # noqa: PLC0415, F401
    import steadybead_collector.stores.influx.opening  # noqa: PLC0415, F401

    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the system buries them
    for line in sys.stdin:
        asked = json.loads(line)
        pid = bear(asked["words"], Path(asked["out"]), Path(asked["log"]))
        sys.stdout.write(f"{pid}\n")
        sys.stdout.flush()


class Nursery:
    """The loaded process, as seen from the harness; started when first needed."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None

    def start(self, words: tuple[str, ...], out: Path, log: Path) -> int:
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "faults.nursery"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                env=environment() | {"OPENBLAS_NUM_THREADS": "1"},
            )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        asked = {"words": words, "out": str(out), "log": str(log)}
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())

    def stop(self) -> None:
        """End it; idempotent."""
        if self._process is not None:
            with self._process as process:
                if process.stdin is not None:
                    process.stdin.close()
            self._process = None


NURSERY = Nursery()

if __name__ == "__main__":
    serve()
