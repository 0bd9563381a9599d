"""Servers in the foreground: open the rooms, serve until asked to stop, close them."""

import contextlib
import logging
import os
import signal
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

import uvicorn

from steadybead_api.app import create_app
from steadybead_api.plant_stores import open_plant_records
from steadybead_api.services import Services
from steadybead_api.shop import folder_beside, open_shop
from steadybead_collector.clock import wall_clock
from steadybead_collector.config import load_plant_file
from steadybead_collector.event_log import event, set_up
from steadybead_domain.errors import PlainError
from steadybead_domain.people import Actor, Role

LOG = logging.getLogger(__name__)
GRACE_S = 2
PUBLISHED = "STEADYBEAD_HTTP"
_ANY_HOST = ("", "0.0.0.0", "::")  # noqa: S104 - named to be replaced
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class _Server(uvicorn.Server):
    """Ends the open event streams before it waits for connections to end."""

    def __init__(self, config: uvicorn.Config, stopping: threading.Event) -> None:
        super().__init__(config)
        self._stopping = stopping

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Take SIGINT and SIGTERM while serving; unlike the base, do not raise them again.

        Raised again, they would end the process before the rooms are closed.
        """
        before = {number: signal.signal(number, self.handle_exit) for number in _SIGNALS}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Take SIGINT or SIGTERM."""
        self._stopping.set()
        super().handle_exit(sig, frame)


def bound_socket(host: str, port: int) -> socket.socket:
    """Take host and port (0: any free one) before anything else starts; raise PlainError."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Named TCP, or the event loop would not switch Nagle's delay off: 40 ms an answer.
    taken = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
    except OSError as error:
        taken.close()
        raise PlainError(
            f"cannot listen on {host}:{port}: {error.strerror or error}; give another --port"
        ) from None
    return taken


def address_of(taken: socket.socket, published: str = "") -> str:
    """Give the address that a person types on this machine.

    `published`: `host:port` or `port` under which a container's port is reached from outside.
    """
    host, port = taken.getsockname()[:2]
    if published:
        host, _, port = published.rpartition(":")
    if host.strip("[]") in _ANY_HOST:
        host = "127.0.0.1"
    host = f"[{host}]" if ":" in host and not host.startswith("[") else host
    return f"http://{host}:{port}/"


def serve_until_stopped(
    services: Services, taken: socket.socket, ready: Callable[[str], None]
) -> None:
    """Serve the API and the pages in this thread until SIGINT or SIGTERM."""
    app = create_app(services)
    config = uvicorn.Config(
        app,
        log_level="warning",
        log_config=None,
        access_log=False,
        timeout_graceful_shutdown=GRACE_S,
        lifespan="on",
        server_header=False,
    )
    server = _Server(config, services.stopping)
    threading.Thread(
        target=_tell_when_started, args=(server, taken, ready), name="ready", daemon=True
    ).start()
    server.run(sockets=[taken])


def _tell_when_started(server: _Server, taken: socket.socket, ready: Callable[[str], None]) -> None:
    pause = threading.Event()
    while not server.started and not server.should_exit:
        pause.wait(0.02)
    if server.started:
        ready(address_of(taken, os.environ.get(PUBLISHED, "")))


def wait_for_signal() -> None:
    """Return at SIGINT or SIGTERM."""
    stop = threading.Event()
    for number in _SIGNALS:
        signal.signal(number, lambda *_: stop.set())
    stop.wait()


def run_servers(
    config: Path, data: Path | None, host: str, port: int, *, collect: bool, serve: bool
) -> int:
    """Run collector, API or both until stopped; give the exit code."""
    plant_file = load_plant_file(config)
    data_dir = folder_beside(config, data)
    taken = bound_socket(host, port) if serve else None
    set_up(plant_file.operations.log)
    with open_shop(plant_file, data_dir, collect=collect, serve=serve) as (mqtt, services):
        if services is None or taken is None:
            LOG.info("collecting", extra=event("started", broker=mqtt.url, data=data_dir))
            _say(f"collecting from {mqtt.url}, data in {data_dir}")
            wait_for_signal()
        else:
            serve_until_stopped(
                services, taken, lambda address: _greet(services, address, mqtt.url or "")
            )
    LOG.info("ended in order", extra=event("stopped"))
    return 0


def _greet(services: Services, address: str, broker: str) -> None:
    """Say where the pages are, and how the first administrator is made if there is none."""
    LOG.info("serving", extra=event("started", address=address, broker=broker))
    _say(f"pages at {address}  broker {broker}")
    code = services.first.code()
    if code is not None:
        _say(f"nobody can administer yet: make the administrator at {address}first?code={code}")


def print_token(config: Path, data: Path | None, role: str, name: str) -> int:
    """Make a token and print it, once."""
    plant_file = load_plant_file(config)
    data_dir = folder_beside(config, data)
    data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
    records = open_plant_records(plant_file, data_dir)
    try:
        actor = Actor(name or f"{role} token", Role(role))
        by = Actor("command line", Role.ADMINISTRATOR)
        secret = records.access.create_token(actor, by, wall_clock(), "command line")
    finally:
        records.close()
    sys.stdout.write(f"{secret}\n")
    return 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
