"""The `steadybead` command as a process of its own."""

import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx

from brokers_ingest import until

PLANT = """
[site]
id = "north"
timezone = "Europe/Lisbon"
{mqtt}
[access]
read = "open"
[[station]]
id = "bay-1"
procedure = "pp-speed-nozzle"
[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "mV"
conversion = {{ kind = "thermocouple", type = "K", cold_junction = "gun-a/terminal" }}
[[station.channel]]
id = "gun-a/terminal"
quantity = "terminal_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "mA"
conversion = {{ kind = "current_loop", at_4_ma = 0.0, at_20_ma = 100.0, to = "L/min" }}
[[station.channel]]
id = "gun-a/output"
quantity = "heater_output"
unit = "%"
[[station.channel]]
id = "air/filter"
quantity = "filter_pressure_drop"
unit = "Pa"
"""


def write_plant(folder: Path, url: str | None) -> Path:
    """Write a plant file for the broker at `url`, or for the embedded one on a free port."""
    mqtt = '[mqtt]\nlisten = "127.0.0.1:0"' if url is None else f'[mqtt]\nurl = "{url}"'
    path = folder / "plant.toml"
    path.write_text(PLANT.format(mqtt=mqtt), "utf-8")
    return path


def command(*words: str) -> list[str]:
    return [sys.executable, "-m", "steadybead_api", *words]


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}


def call(*words: str, timeout_s: float = 60.0) -> "subprocess.CompletedProcess[str]":
    """Run a command to its end."""
    return subprocess.run(
        command(*words),
        capture_output=True,
        text=True,
        timeout=timeout_s,
        env=environment(),
        check=False,
    )


class Server:
    """A running `steadybead run`, `demo` or `serve`."""

    def __init__(self, *words: str) -> None:
        self.process = subprocess.Popen(
            command(*words), stdout=subprocess.PIPE, text=True, env=environment()
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert "http://" in line, f"said {line!r}, exit {self.process.poll()}"
        self.line = line
        self.address = next(word for word in line.split() if word.startswith("http://"))
        self.client = httpx.Client(base_url=self.address, timeout=30.0)

    def ready(self) -> bool:
        return self.client.get("readyz").status_code == 200

    def kill(self) -> None:
        """End at once, as a power cut would; no harm if it has ended."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
        self._reap()

    def stop(self, timeout_s: float = 5.0) -> int:
        """Ask to end; give the exit code; fail if it takes longer than the contract allows."""
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(timeout_s)
        self._reap()
        return code

    def _reap(self) -> None:
        self.client.close()
        with self.process:
            pass


@contextlib.contextmanager
def server(*words: str) -> Iterator[Server]:
    """Run until ready, and stop afterwards."""
    running = Server(*words)
    try:
        until(running.ready, 30.0)
        yield running
    finally:
        running.kill()
