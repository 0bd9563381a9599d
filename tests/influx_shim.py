"""Gives the 1.6.7 engine the one path that it lacks: `/api/v2/write` becomes `/write`.

Standard library only, so that it also runs in a bare container: `python3 influx_shim.py PORT`
starts the engine on 127.0.0.1:18086, makes the database, and serves PORT.
"""

import contextlib
import http.client
import os
import subprocess
import sys
import threading
import urllib.request
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlencode, urlsplit

ENGINE = 18086


def mapped(path: str) -> str:
    """Map `/api/v2/write?bucket=B&precision=ns` to what the engine knows."""
    parts = urlsplit(path)
    if parts.path != "/api/v2/write":
        return path
    asked = parse_qs(parts.query)
    return "/write?" + urlencode({"db": asked["bucket"][0], "precision": "n"})


def passed(host: str, path: str, command: str, body: bytes, token: str) -> tuple[int, bytes]:
    """Pass a request on; give status and content."""
    inner = http.client.HTTPConnection(host, timeout=30)
    try:
        inner.request(command, path, body or None, {"Authorization": token} if token else {})
        answer = inner.getresponse()
        return answer.status, answer.read()
    finally:
        inner.close()


class Handler(BaseHTTPRequestHandler):
    """Answers with what `reply` gives; subclasses say where requests go."""

    protocol_version = "HTTP/1.1"
    disable_nagle_algorithm = True

    def reply(self, body: bytes) -> tuple[int, bytes] | None:
        """Give status and content, None to hang up."""
        token = self.headers.get("Authorization", "")
        return passed(f"127.0.0.1:{ENGINE}", mapped(self.path), self.command, body, token)

    def handle_request(self) -> None:
        """Read, ask, answer."""
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        found = self.reply(body)
        if found is None:
            self.close_connection = True
            return
        status, content = found
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        if status != 204:
            self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        if status != 204:
            self.wfile.write(content)

    do_GET = do_POST = handle_request  # noqa: N815 — the base class's names

    def log_message(self, *_: object) -> None:
        """Say nothing."""


def main(port: int, folder: str, database: str) -> int:
    settings = {
        "INFLUXDB_REPORTING_DISABLED": "true",
        "INFLUXDB_BIND_ADDRESS": "127.0.0.1:18088",
        "INFLUXDB_META_DIR": f"{folder}/meta",
        "INFLUXDB_DATA_DIR": f"{folder}/data",
        "INFLUXDB_DATA_WAL_DIR": f"{folder}/wal",
        "INFLUXDB_DATA_INDEX_VERSION": "tsi1",
        "INFLUXDB_HTTP_BIND_ADDRESS": f"127.0.0.1:{ENGINE}",
        "INFLUXDB_HTTP_LOG_ENABLED": "false",
        "INFLUXDB_MONITOR_STORE_ENABLED": "false",
        "INFLUXDB_LOGGING_LEVEL": "error",
    }
    engine = subprocess.Popen(["influxd", "run"], env=os.environ | settings)
    made = False
    order = urlencode({"q": f'CREATE DATABASE "{database}"'}).encode()
    while engine.poll() is None and not made:
        with contextlib.suppress(OSError):
            urllib.request.urlopen(f"http://127.0.0.1:{ENGINE}/query", order, 10).close()
            made = True
        threading.Event().wait(0.05)
    server = ThreadingHTTPServer(("0.0.0.0", port), Handler)  # noqa: S104 — inside a container
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return engine.wait()


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), sys.argv[2], sys.argv[3]))
