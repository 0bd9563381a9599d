"""A publisher without a client library: `python -m raw_publisher PORT FILE WINDOW`.

Sends the ready-made PUBLISH packets of FILE at QoS 1, at most WINDOW of them unacknowledged, and
writes one line when the broker has acknowledged them all. MQTT 3.1.1 sections 3.1, 3.3 and 3.4.
"""

import selectors
import socket
import sys
from collections.abc import Sequence
from pathlib import Path

CONNECT = b"\x10\x10\x00\x04MQTT\x04\x02\x00\x00\x00\x04rawp"
PUBACK_BYTES = 4
STEP = 50


def packets(messages: Sequence[tuple[str, bytes]]) -> list[bytes]:
    """Write PUBLISH packets at QoS 1; message ids count from 1 and wrap."""
    return [
        b"\x32" + _length(len(body)) + body
        for number, (topic, payload) in enumerate(messages)
        for body in [_string(topic) + (number % 65_535 + 1).to_bytes(2, "big") + payload]
    ]


def save(path: Path, made: Sequence[bytes]) -> None:
    """Keep packets, each with its length in front."""
    path.write_bytes(b"".join(len(p).to_bytes(4, "big") + p for p in made))


def load(path: Path) -> list[bytes]:
    """Read what `save` kept."""
    data, at, found = path.read_bytes(), 0, []
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        found.append(data[at + 4 : at + 4 + size])
        at += 4 + size
    return found


def publish(port: int, made: Sequence[bytes], window: int) -> None:
    """Send all; ConnectionError if the broker hangs up before it acknowledged all."""
    chunks = [b"".join(made[i : i + STEP]) for i in range(0, len(made), STEP)]
    with socket.create_connection(("127.0.0.1", port), 10) as connection:
        connection.sendall(CONNECT)
        if connection.recv(4, socket.MSG_WAITALL)[3:] != b"\x00":
            raise ConnectionError("the broker refused the connection")
        connection.setblocking(False)
        _pump(connection, chunks, len(made), window)
        connection.setblocking(True)
        connection.sendall(b"\xe0\x00")


def _pump(connection: socket.socket, chunks: list[bytes], count: int, window: int) -> None:
    selector = selectors.DefaultSelector()
    selector.register(connection, selectors.EVENT_READ | selectors.EVENT_WRITE)
    waiting, following, sent, heard = memoryview(b""), 0, 0, 0
    while heard < count * PUBACK_BYTES:
        full = sent - heard // PUBACK_BYTES >= window or (not waiting and following == len(chunks))
        events = selectors.EVENT_READ | (0 if full else selectors.EVENT_WRITE)
        selector.modify(connection, events)
        for _, ready in selector.select(10):
            if ready & selectors.EVENT_READ:
                got = len(connection.recv(65_536))
                if not got:
                    raise ConnectionError(f"the broker hung up after {heard // PUBACK_BYTES}")
                heard += got
            if ready & selectors.EVENT_WRITE:
                if not waiting:
                    waiting, following = memoryview(chunks[following]), following + 1
                    sent = min(sent + STEP, count)
                waiting = waiting[connection.send(waiting) :]


def _string(text: str) -> bytes:
    raw = text.encode()
    return len(raw).to_bytes(2, "big") + raw


def _length(size: int) -> bytes:
    out = bytearray()
    while True:
        size, digit = divmod(size, 128)
        out.append(digit | (128 if size else 0))
        if not size:
            return bytes(out)


if __name__ == "__main__":
    publish(int(sys.argv[1]), load(Path(sys.argv[2])), int(sys.argv[3]))
    sys.stdout.write("acknowledged\n")
