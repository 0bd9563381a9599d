"""The short way of plain messages, held to the client library's own reading of the same octets.

Layout of the packets: MQTT 3.1.1 (OASIS, 2014), 2.2.3 (remaining length), 3.3 (PUBLISH) and 3.4
(PUBACK).
"""

import socket
from collections.abc import Iterator
from contextlib import contextmanager

import paho.mqtt.client as paho
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paho.mqtt.enums import CallbackAPIVersion

from steadybead_collector.mqtt import packets
from steadybead_collector.mqtt.buffered import BufferedClient, BufferedSocket
from steadybead_collector.mqtt.packets import Arrived, acknowledgements, whole_messages

PING_RESPONSE = b"\xd0\x00"
TOPICS = st.sampled_from(
    [b"a", b"steadybead/v1/s/b/senml", "höhe/1".encode(), b"\xff\xfe", b"x" * 300]
)
PAYLOADS = st.one_of(st.binary(max_size=40), st.integers(120, 20_000).map(lambda n: b"p" * n))


def publish(topic: bytes, payload: bytes, mid: int, flags: int) -> bytes:
    """Write a PUBLISH; `flags` are the low four bits of its first octet."""
    body = len(topic).to_bytes(2, "big") + topic
    body += mid.to_bytes(2, "big") if flags & 6 else b""
    body += payload
    length, left = b"", len(body)
    while True:
        left, digit = left >> 7, left & 0x7F
        length += bytes([digit | (0x80 if left else 0)])
        if not left:
            return bytes([0x30 | flags]) + length + body


MESSAGES = st.builds(
    publish, TOPICS, PAYLOADS, st.integers(1, 65_535), st.sampled_from([0, 1, 2, 3, 8, 10, 11])
)


def read_by_the_library(data: bytes) -> list[Arrived]:
    with fed() as (far, client, heard):
        far.sendall(data)
        for _ in range(1 + data.count(b"\x30") + len(data)):
            if client.loop_read() or not client.socket().pending():  # type: ignore[union-attr]
                break
    return heard


@contextmanager
def fed() -> Iterator[tuple[socket.socket, BufferedClient, list[Arrived]]]:
    """Give the far end of a connected client's socket, the client, and what its library hears."""
    near, far = socket.socketpair()
    far.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 20)
    near.setblocking(False)
    client = BufferedClient(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311, manual_ack=True)
    heard: list[Arrived] = []
    client.on_message = lambda _c, _d, m: heard.append(
        Arrived(packets.text_of(m._topic), bytes(m.payload), m.mid, m.qos, m.dup, m.retain)
    )
    client._sock = BufferedSocket(near)  # type: ignore[assignment]
    try:
        yield far, client, heard
    finally:
        client._sock = None
        near.close()
        far.close()


@settings(deadline=None)
@given(st.lists(st.one_of(MESSAGES, st.just(PING_RESPONSE)), min_size=1, max_size=6), st.data())
def test_any_stream_in_any_pieces_is_read_as_the_library_reads_it(
    sent: list[bytes], data: st.DataObject
) -> None:
    stream = b"".join(sent)
    wanted = read_by_the_library(stream)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=4)))
    with fed() as (far, client, heard):
        for begin, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
            far.sendall(stream[begin:end])
            for _ in range(2 * len(sent) + 1):
                assert client.loop_read() == 0
                heard.extend(client.arrived(100))
                if not client.socket().pending():  # type: ignore[union-attr]
                    break
    assert heard == wanted
    assert len(wanted) == sum(part != PING_RESPONSE for part in sent)


@given(st.binary(max_size=200))
def test_no_octets_stop_it_and_nothing_is_taken_but_whole_messages(data: bytes) -> None:
    found, length = whole_messages(data, 100)
    assert 0 <= length <= len(data)
    assert (length == 0) == (not found)
    assert whole_messages(data[:length], 100) == (found, length)


@pytest.mark.parametrize(
    "left_alone",
    [
        publish(b"t", b"exactly once", 5, 4),
        publish(b"t", b"no such quality", 5, 6),
        publish(b"", b"no topic", 5, 2),
        b"\x32\x03\x00\x01t",  # no packet identifier
        b"\x30\x02\x00\x09",  # a topic longer than its packet
        b"\x30\xff\xff\xff\xff\x7f",  # a length of five octets
        PING_RESPONSE,
    ],
)
def test_what_is_not_a_plain_message_is_left_to_the_library(left_alone: bytes) -> None:
    before = publish(b"t", b"1", 1, 2)
    assert whole_messages(left_alone, 9) == ([], 0)
    found, length = whole_messages(before + left_alone + before, 9)
    assert ([m.payload for m in found], length) == ([b"1"], len(before))


def test_what_is_not_whole_waits() -> None:
    one = publish(b"t", b"x" * 200, 5, 2)
    for length in range(len(one)):
        assert whole_messages(one[:length], 9) == ([], 0)
    assert whole_messages(one + one[:-1], 9)[1] == len(one)


def test_no_more_than_asked() -> None:
    one = publish(b"t", b"1", 1, 2)
    found, length = whole_messages(3 * one, 2)
    assert (len(found), length) == (2, 2 * len(one))


def test_acknowledgements_are_those_of_the_library_and_keep_behind_what_it_has_begun() -> None:
    with fed() as (far, client, _):
        connection = client.socket()
        assert isinstance(connection, BufferedSocket)
        client.acknowledge([1, 258])
        connection.flush()
        short = far.recv(100)
        for mid in (1, 258):
            client.ack(mid, 1)
        assert (
            short
            == far.recv(100)
            == acknowledgements([1, 258])
            == b"\x40\x02\0\x01\x40\x02\x01\x02"
        )
