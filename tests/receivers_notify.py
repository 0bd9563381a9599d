"""Real receivers on loopback: an SMTP server and a webhook, each of which can be made to fail."""

import contextlib
import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import Message
from email.policy import default
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session


@dataclass
class Mailbox:
    """What an SMTP server took; with `refuses` it answers 451 to every mail."""

    mails: list[Message] = field(default_factory=list)
    refuses: bool = False
    port: int = 0

    @property
    def address(self) -> str:
        """Give the Apprise address of this server."""
        who = "from=shop@steadybead.example&to=team@steadybead.example"
        return f"mailto://127.0.0.1:{self.port}/?{who}&mode=insecure"

    async def handle_DATA(self, _server: SMTP, _session: Session, mail: Envelope) -> str:  # noqa: N802
        """Take a mail, or not."""
        if self.refuses:
            return "451 the mailbox is out of order"
        content = mail.content
        assert isinstance(content, bytes)
        self.mails.append(message_from_bytes(content, policy=default))
        return "250 taken"


class _FreePort(Controller):
    """Listens on a free port, which is known once it does."""

    def _trigger_server(self) -> None:
        server: Any = self.server
        self.port = server.sockets[0].getsockname()[1]
        super()._trigger_server()  # type: ignore[no-untyped-call]


@contextlib.contextmanager
def mail_server() -> Iterator[Mailbox]:
    """Run an SMTP server."""
    box = Mailbox()
    controller = _FreePort(box, hostname="127.0.0.1", port=0)
    controller.start()
    box.port = controller.port
    try:
        yield box
    finally:
        controller.stop()


@dataclass
class Hook:
    """What a webhook took; it answers with `status`, and holds its answer while `held` is set."""

    posts: list[dict[str, Any]] = field(default_factory=list)
    status: int = 200
    held: threading.Event = field(default_factory=threading.Event)
    asked: threading.Event = field(default_factory=threading.Event)
    port: int = 0

    @property
    def address(self) -> str:
        """Give the Apprise address of this hook."""
        return f"json://127.0.0.1:{self.port}/hook"


@contextlib.contextmanager
def webhook() -> Iterator[Hook]:
    """Run a small HTTP server."""
    hook = Hook()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            hook.asked.set()
            while hook.held.is_set() and not ended.wait(0.02):
                pass
            if hook.status == 200:
                hook.posts.append(json.loads(body))
            with contextlib.suppress(OSError):
                self.send_response(hook.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

        def log_message(self, *_args: object) -> None:
            pass

    ended = threading.Event()
    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    hook.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield hook
    finally:
        ended.set()
        server.shutdown()
        thread.join(10)
        server.server_close()


def secret(folder: Path, name: str, address: str) -> Path:
    """Write an address into a file that only its owner may read."""
    path = folder / name
    path.write_text(address + "\n", "utf-8")
    path.chmod(0o600)
    return path
