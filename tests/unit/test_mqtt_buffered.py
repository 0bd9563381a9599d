"""The socket in front of the client library: the same octets in the same order."""

import socket
from pathlib import Path

import pytest
from paho.mqtt.enums import CallbackAPIVersion

from brokers_ingest import mosquitto, needs_mosquitto, until
from steadybead_collector.mqtt.buffered import PIECE, BufferedClient, BufferedSocket


def pair() -> tuple[BufferedSocket, socket.socket]:
    near, far = socket.socketpair()
    near.setblocking(False)
    return BufferedSocket(near), far


def test_what_came_at_once_is_served_in_pieces() -> None:
    near, far = pair()
    far.sendall(b"abcdef")
    assert near.pending() == 0
    assert near.recv(1) == b"a"
    assert near.pending() == 5
    assert near.recv(2) == b"bc"
    assert near.recv(100) == b"def"
    with pytest.raises(BlockingIOError):
        near.recv(1)
    far.close()
    assert near.recv(1) == b""
    near.close()


def test_what_is_held_goes_as_one_and_in_order() -> None:
    near, far = pair()
    near.send(b"1")
    near.holding = True
    assert near.send(b"2") == near.send(b"3") == 1
    assert near.unsent == 2
    assert far.recv(10) == b"1"
    near.flush()
    assert far.recv(10) == b"23"
    near.send(b"4")
    assert far.recv(10) == b"4"
    near.close()
    far.close()


def test_a_full_socket_keeps_the_order() -> None:
    near, far = pair()
    near.holding = True
    sent = b"".join(number.to_bytes(4, "big") for number in range(3 * PIECE))
    near.send(sent)
    near.flush()
    assert near.unsent > 0
    near.send(b"tail")
    got = b""
    while near.unsent or len(got) < len(sent) + 4:
        got += far.recv(1 << 20)
        near.flush()
    assert got == sent + b"tail"
    near.close()
    far.close()


@needs_mosquitto
@pytest.mark.mosquitto
def test_the_library_uses_it(tmp_path: Path) -> None:
    with mosquitto(tmp_path) as broker:
        client = BufferedClient(CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", broker.port)
        assert isinstance(client.socket(), BufferedSocket)
        until(lambda: client.loop_read() == 0 and client.is_connected(), 10)
        client.disconnect()
