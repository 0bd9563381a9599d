"""The durable subscription against a broker that is not ours."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from brokers_ingest import Mosquitto, mosquitto, needs_mosquitto, publisher, until
from steadybead_collector.clock import wall_clock
from steadybead_collector.config import MqttSettings
from steadybead_collector.mqtt.address import Address, kept_client_id
from steadybead_collector.mqtt.inbox import Inbox, Message
from steadybead_collector.mqtt.packets import Arrived
from steadybead_collector.mqtt.subscriber import Subscriber

pytestmark = [pytest.mark.mosquitto, needs_mosquitto]


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path) as running:
        yield running


def _subscriber(broker: Mosquitto, inbox: Inbox, user: str | None = None) -> Subscriber:
    address = Address("127.0.0.1", broker.port, user=user, password=user)
    return Subscriber(address, "ear", ("t/#",), inbox, wall_clock)


def _take(inbox: Inbox, count: int) -> list[Message]:
    taken: list[Message] = []

    def enough() -> bool:
        taken.extend(inbox.take(count, 0.1))
        return len(taken) >= count

    until(enough)
    return taken


def test_it_is_ready_when_the_broker_has_confirmed(broker: Mosquitto) -> None:
    subscriber = _subscriber(broker, Inbox())
    assert not subscriber.ready
    subscriber.start()
    assert subscriber.wait_ready(10)
    subscriber.stop()
    assert not subscriber.ready


def _let_it_read(broker: Mosquitto, packets: int) -> None:
    """Let a broker read what others have sent: it takes a packet of each client in turn.

    Who connects under the same name before that throws away what it has not read.
    """
    with publisher(broker.url) as client:
        for _ in range(2 * packets):
            client.send("aside", b"")
            client.flush()


def test_what_is_not_acknowledged_comes_again_as_backlog(broker: Mosquitto) -> None:
    inbox = Inbox()
    first = _subscriber(broker, inbox)
    first.start()
    assert first.wait_ready(10)
    with publisher(broker.url) as client:
        for number in range(10):
            client.send("t/x", b"%d" % number)
        client.flush()
    messages = _take(inbox, 10)
    assert [m.payload for m in messages] == [b"%d" % i for i in range(10)]
    assert not any(m.backlog for m in messages)
    assert len({m.received for m in messages}) == 10
    first.acknowledge(messages[:4])
    first.stop()
    _let_it_read(broker, 5)
    inbox = Inbox()
    second = _subscriber(broker, inbox)
    second.start()
    back = _take(inbox, 6)
    assert [m.payload for m in back] == [b"%d" % i for i in range(4, 10)]
    assert all(m.backlog for m in back)
    assert [m.mid for m in back] == [m.mid for m in messages[4:]]
    assert second.draining
    second.stop()


def test_a_message_of_an_earlier_connection_is_not_acknowledged_on_this_one(
    broker: Mosquitto,
) -> None:
    inbox = Inbox()
    subscriber = _subscriber(broker, inbox)
    subscriber.start()
    assert subscriber.wait_ready(10)
    with publisher(broker.url) as client:
        client.send("t/x", b"1")
        client.flush()
    message = _take(inbox, 1)[0]
    message.connection -= 1
    assert subscriber.acknowledge([message]) == []
    subscriber.stop()


def test_it_reconnects_when_the_broker_comes_back(broker: Mosquitto) -> None:
    inbox = Inbox()
    subscriber = _subscriber(broker, inbox)
    subscriber.start()
    assert subscriber.wait_ready(10)
    connection = subscriber.connection
    broker.stop()
    until(lambda: not subscriber.ready and subscriber.last_error)
    assert not subscriber.publish("t/y", b"1", retain=False)
    broker.start()
    assert subscriber.wait_ready(20)
    assert subscriber.connection > connection
    assert subscriber.last_error == ""
    with publisher(broker.url) as client:
        client.send("t/x", b"again")
        client.flush()
    assert _take(inbox, 1)[0].payload == b"again"
    subscriber.stop()


def test_a_full_inbox_holds_the_broker_back_and_loses_nothing(broker: Mosquitto) -> None:
    inbox = Inbox(most_messages=50)
    subscriber = _subscriber(broker, inbox)
    subscriber.start()
    assert subscriber.wait_ready(10)
    with publisher(broker.url) as client:
        for number in range(2000):
            client.send("t/x", b"%d" % number)
        client.flush()
    until(lambda: len(inbox) == 50)
    got: list[bytes] = []
    while len(got) < 2000:
        messages = inbox.take(100, 5)
        assert messages
        assert len(messages) <= 50
        subscriber.acknowledge(messages)
        got += [m.payload for m in messages]
    assert got == [b"%d" % i for i in range(2000)]
    subscriber.stop()


def test_a_full_inbox_does_not_hinder_the_end(broker: Mosquitto) -> None:
    inbox = Inbox(most_messages=2)
    subscriber = _subscriber(broker, inbox)
    subscriber.start()
    assert subscriber.wait_ready(10)
    with publisher(broker.url) as client:
        for _ in range(10):
            client.send("t/x", b"1")
        client.flush()
    until(lambda: len(inbox) == 2)
    subscriber.stop(5)
    assert not subscriber._thread.is_alive()


def test_a_large_payload_passes_even_if_it_alone_fills_the_inbox() -> None:
    inbox = Inbox(most_messages=10, most_bytes=100)
    assert inbox.put(Message("t", bytes(5000), 1))
    waiting = threading.Thread(target=inbox.put, args=(Message("t", b"x", 2),))
    waiting.start()
    assert [len(m.payload) for m in inbox.take(10, 1)] == [5000]
    assert [len(m.payload) for m in inbox.take(10, 5)] == [1]
    waiting.join(5)


def test_retained_messages_are_backlog(broker: Mosquitto) -> None:
    with publisher(broker.url) as client:
        client.send("t/r", b"old", retain=True)
        client.flush()
    inbox = Inbox()
    subscriber = _subscriber(broker, inbox)
    subscriber.start()
    message = _take(inbox, 1)[0]
    assert (message.retain, message.backlog) == (True, True)
    subscriber.stop()


def test_the_backlog_ends_when_the_inbox_is_empty_and_time_has_passed() -> None:
    now = 1_000_000
    subscriber = Subscriber(Address("h", 1), "ear", ("t",), inbox := Inbox(), lambda: now)
    subscriber.let_in(session_present=True)
    heard = Arrived("t", b"", mid=1, qos=1, dup=False, retain=False)
    subscriber.heard(heard)
    subscriber.caught_up()
    assert subscriber.draining
    now += 7_000_000
    subscriber.heard(heard)
    subscriber.caught_up()
    subscriber.heard(heard)
    assert [m.backlog for m in inbox.take(9, 0)] == [True, True, False]
    subscriber.let_in(session_present=False)
    assert not subscriber.draining
    subscriber.stop()


def test_a_clock_that_is_set_back_is_followed_and_no_two_times_are_the_same() -> None:
    times = iter([5_000_000, 5_000_000, 4_999_999, 9_000_000, 2_000_000])
    subscriber = Subscriber(Address("h", 1), "ear", ("t",), inbox := Inbox(), lambda: next(times))
    heard = Arrived("t", b"", mid=1, qos=1, dup=False, retain=False)
    for _ in range(5):
        subscriber.heard(heard)
    received = [m.received for m in inbox.take(9, 0)]
    assert received == [5_000_000, 5_000_001, 5_000_002, 9_000_000, 2_000_000]
    subscriber.stop()


def test_a_refused_login_is_said_and_tried_again(tmp_path: Path) -> None:
    (tmp_path / "passwords").write_text("")
    extra = f"password_file {tmp_path / 'passwords'}"
    with mosquitto(tmp_path, extra) as broker:
        subscriber = _subscriber(broker, Inbox(), user="collector")
        subscriber.start()
        until(lambda: "refused the connection" in subscriber.last_error)
        assert "not authori" in subscriber.last_error
        assert not subscriber.ready
        subscriber.stop()


def test_a_stumble_in_the_network_thread_is_said_and_survived(
    broker: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox = Inbox()
    subscriber = _subscriber(broker, inbox)
    stumbles = [ZeroDivisionError("stumbled")]
    put = inbox.put

    def stumble(message: Message) -> bool:
        if stumbles:
            raise stumbles.pop()
        return put(message)

    monkeypatch.setattr(inbox, "put", stumble)
    subscriber.start()
    assert subscriber.wait_ready(10)
    with publisher(broker.url) as client:
        client.send("t/x", b"once")
        client.flush()
    assert _take(inbox, 1)[0].payload == b"once"
    assert stumbles == []
    subscriber.stop()


def test_the_client_id_is_made_once_kept_and_private(tmp_path: Path) -> None:
    made = kept_client_id(tmp_path)
    assert kept_client_id(tmp_path) == made
    assert len(made) == 23
    assert (tmp_path / "mqtt-client-id").stat().st_mode & 0o077 == 0
    other = tmp_path / "other"
    other.mkdir()
    assert kept_client_id(other) != made


def test_an_address_takes_the_default_ports() -> None:
    settings = MqttSettings()
    assert Address.of("mqtt://h", settings) == Address("h", 1883)
    assert Address.of("mqtts://h", settings) == Address("h", 8883, tls=True)
    assert Address.of("mqtt://[::1]:77", settings) == Address("::1", 77)
    with pytest.raises(ValueError, match="write mqtt://"):
        Address.of("tcp://h", settings)
