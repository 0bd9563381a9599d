"""A readings server for tests: the one that the environment names, or an engine of their own.

`STEADYBEAD_TEST_INFLUX_URL` (http://host:port), `…_TOKEN`, `…_BUCKET` and `…_ORG` name a server of
2.x or 3.x. Without them Debian's InfluxDB 1.6.7 runs on a free port behind a path shim, because
it lacks `/api/v2/write`: results of such a run are those of the 1.6.7 engine behind a path shim.
"""

import os
import shutil
import socket
import ssl
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.client import HTTPException
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import count
from pathlib import Path
from urllib.parse import quote, urlsplit

import influx_shim
from steadybead_collector.stores.influx.address import InfluxAddress
from steadybead_collector.stores.influx.server import Server
from steadybead_domain.ports import StoreError

_CONFIG = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
dir = "{folder}/meta"
[data]
dir = "{folder}/data"
wal-dir = "{folder}/wal"
index-version = "tsi1"
query-log-enabled = false
[http]
bind-address = "127.0.0.1:{port}"
log-enabled = false
[monitor]
store-enabled = false
[logging]
level = "error"
"""
_UNMAPPED = {  # as 2.x answers for a bucket without a mapping; from its documentation
    "/query": b'{"results":[{"statement_id":0,"error":"database not found: steadybead"}]}',
    "buckets": b'{"buckets":[{"id":"0a1b2c3d4e5f6071","name":"steadybead"}]}',
}
_numbers = count(1)
OWN = (
    "steadybead_reading",
    "steadybead_append",
    "steadybead_rollup",
    "steadybead_producer",
)


def why_not() -> str | None:
    if os.environ.get("STEADYBEAD_TEST_INFLUX_URL") or shutil.which("influxd"):
        return None
    return "InfluxDB is not installed (Debian's package influxdb)"


@dataclass
class Gate:
    """What stands between the store and the engine; a test can shut it or let it misbehave."""

    url: str
    bucket: str
    token: str | None = None
    org: str = ""
    native: bool = False
    away: bool = False
    swallow_answers: int = 0
    refuse_token: str = ""
    unmapped: bool = False
    requests: list[tuple[str, str]] = field(default_factory=list)

    def store_url(self) -> str:
        org = f"?org={quote(self.org)}" if self.org else ""
        return f"influxdb+{self.url}/{quote(self.bucket)}{org}"

    def address(self) -> InfluxAddress:
        return InfluxAddress.parse(self.store_url(), self.token)


def emptied(gate: Gate) -> Gate:
    """Give the same server with an empty bucket: a new one, or the named one without our data."""
    gate.away = gate.unmapped = False
    gate.swallow_answers, gate.refuse_token = 0, ""
    if gate.native:
        server = Server(gate.address())
        for name in OWN:
            server.order(f'DROP MEASUREMENT "{name}"')
        server.close()
    else:
        gate.bucket = f"steadybead-{next(_numbers)}"
        make_bucket(gate, gate.bucket)
    gate.requests.clear()
    return gate


@contextmanager
def readings_server() -> Iterator[Gate]:
    """Give a server with an empty bucket."""
    named = os.environ.get("STEADYBEAD_TEST_INFLUX_URL")
    if named:
        bucket = os.environ.get("STEADYBEAD_TEST_INFLUX_BUCKET", "steadybead-test")
        token = os.environ.get("STEADYBEAD_TEST_INFLUX_TOKEN")
        org = os.environ.get("STEADYBEAD_TEST_INFLUX_ORG", "")
        with _shim(named, native=True) as gate:
            gate.bucket, gate.token, gate.org, gate.native = bucket, token, org, True
            yield gate
        return
    with engine() as port, _shim(f"http://127.0.0.1:{port}", native=False) as gate:
        yield emptied(gate)


def make_bucket(gate: Gate, name: str) -> None:
    """Make a database of the 1.6.7 engine."""
    server = Server(gate.address())
    server.order(f'CREATE DATABASE "{name}" WITH DURATION INF SHARD DURATION 5200w')
    server.close()


@contextmanager
def engine() -> Iterator[int]:
    """Run Debian's engine on a free port of loopback; give the port."""
    with tempfile.TemporaryDirectory(prefix="influx-") as folder:
        port, rpc = free_ports(2)
        config = Path(folder, "influxdb.conf")
        config.write_text(_CONFIG.format(folder=folder, port=port, rpc=rpc))
        with Path(folder, "log").open("wb") as log:
            process = subprocess.Popen(
                ["influxd", "run", "-config", str(config)], stdout=log, stderr=log
            )
        try:
            _await_port(port, process)
            yield port
        finally:
            process.kill()
            process.wait(10)


def free_ports(number: int) -> list[int]:
    sockets = [socket.socket() for _ in range(number)]
    for one in sockets:
        one.bind(("127.0.0.1", 0))
    ports = [int(one.getsockname()[1]) for one in sockets]
    for one in sockets:
        one.close()
    return ports


def _await_port(port: int, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until and process.poll() is None:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return
        threading.Event().wait(0.02)
    raise StoreError("influxd did not start")


@contextmanager
def secured(gate: Gate, context: ssl.SSLContext) -> Iterator[Gate]:
    """Put a front with TLS before a gate's server."""
    with _shim(gate.url, native=True, context=context) as front:
        front.bucket, front.token, front.org = gate.bucket, gate.token, gate.org
        yield front


@contextmanager
def _shim(target: str, *, native: bool, context: ssl.SSLContext | None = None) -> Iterator[Gate]:
    gate = Gate("", "steadybead")
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(gate, urlsplit(target), native))
    if context is not None:
        server.socket = context.wrap_socket(server.socket, server_side=True)
    scheme = "http" if context is None else "https"
    gate.url = f"{scheme}://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield gate
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)


def _handler(gate: Gate, target: object, native: bool) -> type[BaseHTTPRequestHandler]:
    host = str(getattr(target, "netloc", ""))

    class Shim(influx_shim.Handler):
        def reply(self, body: bytes) -> tuple[int, bytes] | None:
            gate.requests.append((self.command, self.path))
            token = self.headers.get("Authorization", "")
            if gate.away:
                return None
            if gate.refuse_token and token == gate.refuse_token:
                return 401, b'{"code":"unauthorized","message":"unauthorized access"}'
            if gate.unmapped and self.path.startswith(("/query", "/api/v2/buckets")):
                return 200, _UNMAPPED["/query" if "/query" in self.path else "buckets"]
            path = self.path if native else influx_shim.mapped(self.path)
            try:
                found = influx_shim.passed(host, path, self.command, body, token)
            except (OSError, HTTPException):  # the engine is dead: so is its front
                return None
            if gate.swallow_answers > 0 and self.command == "POST":
                gate.swallow_answers -= 1
                return None
            return found

    return Shim
