"""`/healthz`, `/readyz`, `/metrics` of a collector that serves no pages."""

import json
import threading
from collections.abc import Callable, Sequence
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from socket import AF_INET, AF_INET6
from typing import Any, Final

from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4

from steadybead_api.services import Condition
from steadybead_domain.errors import PlainError

SLOWEST_S: Final = 5.0


class HealthServer:
    """Answers on one host and port, in threads of its own; it names nothing of the shop."""

    def __init__(
        self,
        place: tuple[str, int],
        conditions: Callable[[], Sequence[Condition]],
        registry: CollectorRegistry,
    ) -> None:
        self._conditions, self._registry = conditions, registry
        self._server = self._bound(place)
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.1,), name="health", daemon=True
        )

    @property
    def port(self) -> int:
        """Give the port that was taken."""
        return int(self._server.server_address[1])

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def stop(self) -> None:
        """End."""
        if self._thread.ident is not None:
            self._server.shutdown()
            self._thread.join(SLOWEST_S)
        self._server.server_close()

    def _bound(self, place: tuple[str, int]) -> ThreadingHTTPServer:
        """Take the port; raise PlainError."""
        answer = self._answer

        class Handler(_Handler):
            give = staticmethod(answer)

        class Server(ThreadingHTTPServer):
            address_family = AF_INET6 if ":" in place[0] else AF_INET
            daemon_threads = True

        try:
            return Server(place, Handler)
        except OSError as error:
            where = f"{place[0]}:{place[1]}"
            raise PlainError(
                f"[operations] health: cannot listen on {where} ({error.strerror}); name another"
            ) from None

    def _answer(self, path: str) -> tuple[int, str, bytes]:
        """Give status, kind and content for a path."""
        if path == "/healthz":
            return 200, _JSON, _json({"status": "alive"})
        if path == "/readyz":
            found = self._conditions()
            ready = all(c.ok for c in found)
            items = [{"name": c.name, "ok": c.ok, "detail": c.detail} for c in found]
            return 200 if ready else 503, _JSON, _json({"ready": ready, "conditions": items})
        if path == "/metrics":
            return 200, CONTENT_TYPE_PLAIN_0_0_4, generate_latest(self._registry)
        return 404, "text/plain; charset=utf-8", b"there is nothing at this address\n"


_JSON: Final = "application/json"


def _json(members: dict[str, Any]) -> bytes:
    return json.dumps(members).encode()


class _Handler(BaseHTTPRequestHandler):
    """Takes GET and HEAD, one request a connection."""

    timeout = SLOWEST_S
    server_version, sys_version = "steadybead", ""
    give: Callable[[str], tuple[int, str, bytes]]

    def do_GET(self) -> None:
        """Answer."""
        self._send(self.command != "HEAD")

    do_HEAD = do_GET  # noqa: N815 - the base looks for this name

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the base's name
        """Log nothing: a probe every few seconds is no event."""

    def _send(self, with_body: bool) -> None:
        status, kind, content = self.give(self.path.partition("?")[0])
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.end_headers()
        if with_body:
            self.wfile.write(content)
