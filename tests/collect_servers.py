"""The command `collect` in processes of their own, one partition each, and who takes one over."""

import os
import signal
import subprocess
import sys
from pathlib import Path

_SETTLING = """import sys
from steadybead_api.command import main
from steadybead_collector.mqtt import subscriber
subscriber.SETTLE_S = float(sys.argv.pop(1))
sys.exit(main(sys.argv[1:]))
"""


class Collecting:
    """The command `collect` for one partition, in a process of its own.

    With `settle_s` it takes what comes for a backlog for so long: then a backlog of readings may
    reach it in pieces, on a machine as slow as may be.
    """

    def __init__(self, plant: Path, data: Path, settle_s: float | None = None) -> None:
        self.data = data
        how = ["-m", "steadybead_api"] if settle_s is None else ["-c", _SETTLING, str(settle_s)]
        self._process = subprocess.Popen(
            [sys.executable, *how, "collect", "--config", str(plant), "--data", str(data)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )

    def await_start(self) -> None:
        assert self._process.stdout is not None
        assert "collecting from" in self._process.stdout.readline()

    def refused(self) -> str:
        """Wait until it gives up; give its last words."""
        _, said = self._process.communicate(timeout=60)
        assert self._process.returncode == 2, said
        return said

    def end(self, how: signal.Signals) -> None:
        with self._process:
            self._process.send_signal(how)


def stand_in(plant: Path, dead: Collecting, folder: Path) -> Collecting:
    """Start on another machine: all that it has of the dead one is the name of its session."""
    folder.mkdir()
    name = "mqtt-client-id"
    (folder / name).write_bytes((dead.data / name).read_bytes())
    return Collecting(plant, folder)
