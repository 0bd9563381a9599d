"""Three NATS servers as one MQTT broker with replicated storage, and a balancer before them."""

import contextlib
import selectors
import signal
import socket
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from brokers_ingest import free_port, until
from steadybead_collector.mqtt.broker import find_binary
from steadybead_collector.mqtt.handshake import answers

NODES = 3


@dataclass
class Node:
    """One server; `start` and `kill` keep its ports and its storage."""

    name: str
    folder: Path
    routes: list[int]
    own_route: int
    mqtt_port: int = field(default_factory=free_port)
    client_port: int = field(default_factory=free_port)
    process: "subprocess.Popen[bytes] | None" = None

    def start(self) -> None:
        self.folder.mkdir(exist_ok=True)
        config = self.folder / "nats.conf"
        routes = ", ".join(f'"nats://127.0.0.1:{port}"' for port in self.routes)
        config.write_text(
            f'server_name: {self.name}\nlisten: "127.0.0.1:{self.client_port}"\n'
            f'jetstream {{ store_dir: "{self.folder}/store", max_file_store: 1GB }}\n'
            f'cluster {{ name: hall, listen: "127.0.0.1:{self.own_route}", routes: [{routes}] }}\n'
            f'mqtt {{ listen: "127.0.0.1:{self.mqtt_port}", ack_wait: "3s",\n'
            f"  max_ack_pending: 5000, stream_replicas: {NODES}, consumer_replicas: {NODES} }}\n"
        )
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [str(find_binary()), "-c", str(config)], stdout=log, stderr=log
            )

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(10)
            self.process = None


@contextlib.contextmanager
def cluster(folder: Path) -> Iterator[list[Node]]:
    """Run the three; wait until each answers a CONNECT."""
    routes = [free_port() for _ in range(NODES)]
    nodes = [
        Node(f"n{i}", folder / f"n{i}", [r for r in routes if r != routes[i]], routes[i])
        for i in range(NODES)
    ]
    try:
        for node in nodes:
            node.start()
        until(lambda: all(answers("127.0.0.1", node.mqtt_port) for node in nodes), 60)
        yield nodes
    finally:
        for node in nodes:
            node.kill()


class Balancer:
    """Passes each connection on to the first node that takes it, another one first each time."""

    def __init__(self, nodes: list[Node]) -> None:
        self._ports = [node.mqtt_port for node in nodes]
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"mqtt://127.0.0.1:{self._listener.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                line, _ = self._listener.accept()
                self._ports.append(self._ports.pop(0))
                threading.Thread(target=self._pass, args=(line,), daemon=True).start()

    def _pass(self, line: socket.socket) -> None:
        with line:
            for port in list(self._ports):
                with contextlib.suppress(OSError):
                    with socket.create_connection(("127.0.0.1", port), 1) as behind:
                        _join(line, behind)
                    return

    def close(self) -> None:
        self._listener.close()


def _join(one: socket.socket, other: socket.socket) -> None:
    with selectors.DefaultSelector() as chosen:
        for source, sink in ((one, other), (other, one)):
            source.settimeout(20)
            chosen.register(source, selectors.EVENT_READ, sink)
        while True:
            for key, _ in chosen.select():
                data = key.fileobj.recv(65536)  # type: ignore[union-attr]
                if not data:
                    return
                key.data.sendall(data)
