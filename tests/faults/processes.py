"""Programs that the harness kills and starts again: the product's own, brokers and servers."""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import influx_server
import records_postgres
from brokers_ingest import Mosquitto, free_port, until
from faults.nursery import NURSERY
from influx_server import Gate

LINE_S = 90.0


@dataclass
class Program:
    """A `steadybead` command; `kill` and `start` as often as wanted. Its log lies in `log`."""

    words: tuple[str, ...]
    log: Path
    pid: int = 0
    said: str = ""

    @property
    def out(self) -> Path:
        return self.log.with_suffix(".out")

    def launch(self) -> None:
        """Start, and do not wait."""
        self.out.unlink(missing_ok=True)
        self.pid = NURSERY.start(self.words, self.out, self.log)

    def start(self) -> None:
        """Start, and wait for its first line."""
        self.launch()
        self.await_line()

    def await_line(self, timeout_s: float = LINE_S) -> None:
        """Wait for its first line; RuntimeError if it ends without one."""

        def told() -> bool:
            self.said = self.out.read_text("utf-8") if self.out.exists() else ""
            return "\n" in self.said or not self.alive

        until(told, timeout_s)
        if not self.said:
            raise RuntimeError(f"{self.words[0]} ended: {self.last_words()}")

    @property
    def alive(self) -> bool:
        return self.pid > 0 and Path(f"/proc/{self.pid}").exists()

    def tell(self, how: signal.Signals) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, how)

    def kill(self, how: signal.Signals = signal.SIGKILL) -> None:
        """End it, and wait until it is gone."""
        if self.alive:
            self.tell(how)
            until(lambda: not self.alive, 20.0)
        self.pid = 0

    def last_words(self) -> str:
        return self.log.read_text("utf-8", "replace")[-400:] if self.log.exists() else ""

    def tracebacks(self) -> int:
        """Count faults of ours that show in its log."""
        return self.log.read_text("utf-8", "replace").count("Traceback") if self.log.exists() else 0


def collecting(folder: Path, plant: Path, data: Path) -> Program:
    words = ("collect", "--config", str(plant), "--data", str(data))
    return Program(words, folder / "collect.log")


def running(folder: Path, plant: Path, data: Path) -> Program:
    port = str(free_port())
    words = ("run", "--config", str(plant), "--data", str(data), "--port", port)
    return Program(words, folder / "run.log")


def serving(folder: Path, plant: Path, data: Path) -> Program:
    port = str(free_port())
    words = ("serve", "--config", str(plant), "--data", str(data), "--port", port)
    return Program(words, folder / "serve.log")


KEEPS = "persistence true\npersistence_location {folder}/\n"
ON_CHANGES = "autosave_interval 1\nautosave_on_changes true\n"


@contextlib.contextmanager
def kept_mosquitto(folder: Path, extra: str = "") -> Iterator[Mosquitto]:
    """Run a Mosquitto that keeps what it acknowledged in a file.

    With ON_CHANGES it writes and syncs all of that file at each change, so a backlog slows it down
    more and more. For a kill, memory will do as its disk: it outlives the process.
    """
    memory = Path("/dev/shm")  # noqa: S108
    home = memory if memory.is_dir() else folder
    with tempfile.TemporaryDirectory(prefix="faults-", dir=home) as name:
        broker = Mosquitto(folder, KEEPS.format(folder=name) + extra)
        broker.start()
        try:
            yield broker
        finally:
            broker.stop()


def kill_mosquitto(broker: Mosquitto) -> None:
    assert broker.process is not None
    broker.process.kill()
    broker.process.wait(10)
    broker.process = None


@contextlib.contextmanager
def workshop() -> Iterator[Path]:
    """Give a folder for one family, gone afterwards; after a fault, tell how its logs end."""
    with tempfile.TemporaryDirectory(prefix="faults-") as name:
        try:
            yield Path(name)
        except BaseException:
            for log in sorted(Path(name).glob("*.log")):
                sys.stderr.write(f"--- {log.name}\n{log.read_text('utf-8', 'replace')[-1500:]}\n")
            raise


@dataclass
class Engine:
    """Debian's readings engine on a fixed port, which can be killed and started again."""

    folder: Path
    ports: list[int] = field(default_factory=lambda: influx_server.free_ports(2))
    process: "subprocess.Popen[bytes] | None" = None

    def start(self) -> None:
        port, rpc = self.ports
        config = self.folder / "influxdb.conf"
        config.write_text(influx_server._CONFIG.format(folder=self.folder, port=port, rpc=rpc))
        with (self.folder / "influxd.log").open("ab") as log:
            self.process = subprocess.Popen(
                ["influxd", "run", "-config", str(config)], stdout=log, stderr=log
            )
        influx_server._await_port(port, self.process)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None

    def tell(self, how: signal.Signals) -> None:
        assert self.process is not None
        self.process.send_signal(how)


@contextlib.contextmanager
def engine_behind_shim(folder: Path) -> Iterator[tuple[Engine, Gate]]:
    """Run the engine, with the path shim before it and an empty bucket in it."""
    engine = Engine(folder)
    engine.start()
    try:
        url = f"http://127.0.0.1:{engine.ports[0]}"
        with influx_server._shim(url, native=False) as gate:
            yield engine, influx_server.emptied(gate)
    finally:
        engine.kill()


class Postgres:
    """A PostgreSQL with its syncs on, which can be killed and started again."""

    def __init__(self) -> None:
        self.owner = "postgres" if os.geteuid() == 0 else None
        self.folder = Path(tempfile.mkdtemp(prefix="faults-pg-"))
        self.port = free_port()
        if self.owner is not None:
            shutil.chown(self.folder, self.owner)
        self._run(
            *(str(records_postgres._tool("initdb")), "--username=tester", "--auth=trust"),
            *("--encoding=UTF8", "--no-sync", "-D", f"{self.folder}/data"),
        )

    @property
    def url(self) -> str:
        return f"postgresql://tester@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        """Start, trying again: after a kill its children may hold the memory for a moment."""

        def started() -> bool:
            return self._control("-l", f"{self.folder}/log", "start") == 0

        until(started, 120.0)

    def kill(self) -> None:
        """Kill the postmaster, and whatever it had started."""
        pid = int((self.folder / "data" / "postmaster.pid").read_text().splitlines()[0])
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        for victim in (pid, *map(int, children)):
            with contextlib.suppress(ProcessLookupError):
                os.kill(victim, signal.SIGKILL)

    def close(self) -> None:
        self._control("-m", "immediate", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)

    def _control(self, *words: str) -> int:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -k {self.folder}"
        control = str(records_postgres._tool("pg_ctl"))
        data = ("-D", f"{self.folder}/data", "-w", "-t", "120", "-o", options)
        return subprocess.run(
            [control, *data, *words],
            user=self.owner,
            cwd=self.folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=180,
            check=False,
        ).returncode

    def _run(self, *words: str) -> None:
        subprocess.run(
            words,
            check=True,
            user=self.owner,
            cwd=self.folder,
            stdout=subprocess.DEVNULL,
            timeout=300,
        )
