"""The embedded broker: a real server process, its life and its death."""

import logging
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from brokers_ingest import publisher, until
from steadybead_collector.mqtt.broker import BrokerError, EmbeddedBroker
from steadybead_collector.mqtt.handshake import answers
from steadybead_collector.mqtt.orphan import command_of, end_orphan
from steadybead_collector.mqtt.stream_limit import limit_stream

PARENT = """
import sys, time
from pathlib import Path
from steadybead_collector.mqtt.broker import EmbeddedBroker
broker = EmbeddedBroker(Path(sys.argv[1]))
broker.start()
print(broker.pid, broker.url, flush=True)
time.sleep(600)
"""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[EmbeddedBroker]:
    made = EmbeddedBroker(tmp_path)
    made.start()
    yield made
    made.stop()


def _port(url: str) -> int:
    return int(url.rsplit(":", 1)[1])


def _alive(pid: int) -> bool:
    return "nats-server" in command_of(pid)


def test_it_answers_when_start_returns_and_is_gone_when_stop_returns(
    broker: EmbeddedBroker,
) -> None:
    pid = broker.pid
    assert pid is not None
    assert answers("127.0.0.1", _port(broker.url))
    broker.stop()
    assert not _alive(pid)
    assert not answers("127.0.0.1", _port(broker.url))
    broker.stop()


def test_it_listens_on_the_given_port(tmp_path: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    made = EmbeddedBroker(tmp_path, f"127.0.0.1:{port}")
    try:
        assert made.start() == f"mqtt://127.0.0.1:{port}"
    finally:
        made.stop()


def test_a_taken_port_is_named_with_the_remedy(broker: EmbeddedBroker, tmp_path: Path) -> None:
    second = EmbeddedBroker(tmp_path / "second", broker.url.removeprefix("mqtt://"))
    with pytest.raises(BrokerError, match=r"port \d+ is taken: .*\[mqtt\] listen"):
        second.start()


def test_without_the_server_the_message_says_to_give_a_url(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sysconfig.get_path", lambda _: str(tmp_path))
    monkeypatch.setattr("shutil.which", lambda _: None)
    with pytest.raises(BrokerError, match=r"give \[mqtt\] url"):
        EmbeddedBroker(tmp_path).start()


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's promise is Linux's")
def test_it_dies_with_its_parent_also_at_sigkill(tmp_path: Path) -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT, str(tmp_path)], stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    with parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline().split()[0])
        assert _alive(pid)
        parent.send_signal(signal.SIGKILL)
    until(lambda: not _alive(pid))


def test_an_orphan_is_ended_and_its_messages_are_kept(tmp_path: Path) -> None:
    first = EmbeddedBroker(tmp_path)
    with publisher(first.start()) as client:
        client.send("a/b", b"kept", retain=True)
        client.flush()
    orphan = first.pid
    assert orphan is not None
    first._stopping = True  # so that it does not bring its own back
    second = EmbeddedBroker(tmp_path)
    try:
        second.start()
        assert not _alive(orphan) or orphan == second.pid
        assert _retained(second.url, "a/b") == b"kept"
    finally:
        second.stop()
        first.stop()


def test_a_pid_that_another_program_has_is_left_alone(tmp_path: Path) -> None:
    other = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
    try:
        (tmp_path / "broker.pid").write_text(str(other.pid))
        assert not end_orphan(tmp_path / "broker.pid", str(tmp_path / "broker.conf"))
        assert other.poll() is None
        assert not (tmp_path / "broker.pid").exists()
    finally:
        other.kill()
        other.wait()


@pytest.mark.parametrize("content", ["", "x", "-1", "0", "1", "99999999"])
def test_a_pid_file_that_names_nobody_is_removed(tmp_path: Path, content: str) -> None:
    (tmp_path / "broker.pid").write_text(content)
    assert not end_orphan(tmp_path / "broker.pid", "broker.conf")
    assert not (tmp_path / "broker.pid").exists()


def test_it_comes_back_on_the_same_port_if_it_ends_by_itself(
    broker: EmbeddedBroker, caplog: pytest.LogCaptureFixture
) -> None:
    pid, url = broker.pid, broker.url
    assert pid is not None
    with caplog.at_level(logging.ERROR):
        os.kill(pid, signal.SIGKILL)
        until(lambda: broker.pid not in {None, pid} and answers("127.0.0.1", _port(url)))
    assert broker.url == url
    assert "ended by itself" in caplog.text


def test_a_full_store_refuses_what_is_new_and_still_lets_clients_in(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    made = EmbeddedBroker(tmp_path, store_bytes=4 * 1024 * 1024)
    try:
        with publisher(made.start()) as client:
            ear = _kept_session(made.url)
            for number in range(25):
                client.send("full/x", bytes(100_000), number=number)
            until(lambda: len(client.acknowledged) == 25)
            for number in range(25, 100):
                client.send("full/x", bytes(100_000), number=number)
            until(lambda: "maximum bytes exceeded" in caplog.text)
            kept = len(client.acknowledged)
            assert client.waiting
        assert 25 <= kept < 60
        assert answers("127.0.0.1", _port(made.url))
        assert _drained(made.url, ear) >= kept
    finally:
        made.stop()


def test_the_limit_is_set_again_without_harm(broker: EmbeddedBroker) -> None:
    for limit in (10_000_000, 10_000_000, 20_000_000):
        assert limit_stream("127.0.0.1", broker._own_port, limit)
    assert not limit_stream("127.0.0.1", 1, 10_000_000, timeout_s=0.5)


def _retained(url: str, topic: str) -> bytes | None:
    got = subprocess.run(
        ["mosquitto_sub", "-p", str(_port(url)), "-t", topic, "-C", "1", "-W", "10", "-N"],
        capture_output=True, check=False,
    )  # fmt: skip
    return got.stdout


def _kept_session(url: str) -> str:
    subprocess.run(
        [
            "mosquitto_sub",
            "-p",
            str(_port(url)),
            "-i",
            "ear",
            "-c",
            "-q",
            "1",
            "-t",
            "full/#",
            "-E",
        ],
        check=True,
    )
    return "ear"


def _drained(url: str, ear: str) -> int:
    got = subprocess.run(
        ["mosquitto_sub", "-p", str(_port(url)), "-i", ear, "-c", "-q", "1", "-t", "full/#",
         "-W", "5", "-F", "%l"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return len(got.stdout.split())
