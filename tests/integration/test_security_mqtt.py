"""A broker as `prepare` sets it up: who may connect, and who may say and hear what.

The real Mosquitto, with the files of `steadybead prepare`; only port and data folder differ.
"""

import contextlib
import getpass
import secrets
import ssl
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Self

import paho.mqtt.client as paho
import pytest
import trustme
from paho.mqtt.enums import CallbackAPIVersion

from brokers_ingest import MOSQUITTO, free_port, needs_mosquitto, until
from steadybead_api.command import main
from steadybead_collector.servers import mosquitto

pytestmark = [pytest.mark.mosquitto, needs_mosquitto]
PLANT: Final = """[site]
id = "north"
timezone = "Europe/Lisbon"
"""
STATION: Final = """
[[station]]
id = "{name}"
[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"
{source}
"""
OTHER: Final = 'source = { topic = "meters/bay-2/flow", pointer = "/l_min" }'
ROOT: Final = "steadybead/v1/north"


@dataclass
class Broker:
    """A prepared broker that runs."""

    folder: Path
    port: int

    def password(self, user: str) -> str:
        places = {
            mosquitto.COLLECTOR: "app/broker-password",
            mosquitto.SIMULATOR: "app/simulator-password",
            mosquitto.HEALTH: "broker/health-password",
        }
        return (self.folder / places.get(user, f"app/stations/{user}")).read_text().strip()

    @property
    def authority(self) -> Path:
        return self.folder / "app" / "ca.pem"


@dataclass
class Client:
    """One connection; `heard` are the messages, `granted` the answers to subscriptions."""

    broker: Broker
    user: str | None
    password: str | None = None
    authority: Path | None = None
    will: str | None = None
    heard: list[tuple[str, bytes]] = field(default_factory=list)
    granted: list[bool] = field(default_factory=list)
    answer: str = ""
    _done: threading.Event = field(default_factory=threading.Event)

    def __enter__(self) -> Self:
        self._client = client = paho.Client(CallbackAPIVersion.VERSION2)
        if self.user is not None:
            client.username_pw_set(self.user, self.password or self.broker.password(self.user))
        client.tls_set(ca_certs=str(self.authority or self.broker.authority))
        if self.will is not None:
            client.will_set(self.will, b"0", qos=1)
        client.on_connect = self._on_connect
        client.on_message = lambda _c, _d, m: self.heard.append((m.topic, m.payload))
        client.on_subscribe = self._on_subscribe
        client.connect("localhost", self.broker.port)
        client.loop_start()
        assert self._done.wait(20)
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(self, _c: Any, _d: Any, _f: Any, reason: Any, _p: Any) -> None:
        self.answer = str(reason)
        self._done.set()
        if reason.is_failure:
            self._client.disconnect()

    def _on_subscribe(self, _c: Any, _d: Any, _m: Any, reasons: list[Any], _p: Any) -> None:
        self.granted += [not reason.is_failure for reason in reasons]

    def listen(self, *topics: str) -> None:
        self._client.subscribe([(topic, 1) for topic in topics])
        until(lambda: len(self.granted) >= len(topics))

    def say(self, topic: str, payload: bytes = b"x", *, retain: bool = False) -> None:
        """Publish at QoS 1 and wait for the acknowledgement, which says nothing of the rights."""
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(20)

    def drop(self) -> None:
        """Cut the line, so that the broker speaks the last will."""
        connection: Any = self._client.socket()
        self._client.loop_stop()
        connection.close()


@contextlib.contextmanager
def running(folder: Path, *, own_plant: bool) -> Iterator[Broker]:
    """Prepare a set-up and run its broker."""
    config = folder / "config"
    config.mkdir(parents=True)
    if own_plant:
        stations = STATION.format(name="bay-1", source=""), STATION.format(name="bay-2", source="")
        text = PLANT + stations[0] + stations[1].rstrip() + f"\n{OTHER}\n"
        (config / "shop.toml").write_text(text)
    assert main(["prepare", "--dir", str(folder), "--broker-name", "localhost"]) == 0
    data, port = folder / "data", free_port()
    data.mkdir()
    file = folder / "broker" / "mosquitto.conf"
    text = file.read_text().replace("listener 8883", f"listener {port} 127.0.0.1")
    file.write_text(f"user {getpass.getuser()}\n{text}".replace("/mosquitto/data", str(data)))
    assert MOSQUITTO is not None
    log = (folder / "log").open("wb")
    process = subprocess.Popen([MOSQUITTO, "-c", str(file)], stderr=log)
    broker = Broker(folder, port)
    try:
        until(lambda: process.poll() is None and _answers(broker))
        yield broker
    finally:
        process.terminate()
        process.wait(10)
        log.close()


def _answers(broker: Broker) -> bool:
    with contextlib.suppress(OSError), Client(broker, mosquitto.HEALTH):
        return True
    return False


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    with running(tmp_path_factory.mktemp("shop"), own_plant=True) as started:
        yield started


def told(broker: Broker, says: Client, *topics: str) -> list[str]:
    """Let somebody say something on topics; give those that the collector heard."""
    with Client(broker, mosquitto.COLLECTOR) as ear, Client(broker, "bay-2") as proof:
        ear.listen(f"{ROOT}/#", "meters/#")
        mark = secrets.token_bytes(8)
        for topic in topics:
            says.say(topic, mark)
        proof.say(f"{ROOT}/bay-2/weld", mark[::-1])  # what was said before has come by now
        until(lambda: (f"{ROOT}/bay-2/weld", mark[::-1]) in ear.heard)
        return [topic for topic, payload in ear.heard if payload == mark]


def test_a_station_writes_its_own_topics_and_no_others(broker: Broker) -> None:
    own = [f"{ROOT}/bay-1/{kind}" for kind in ("senml", "senml-cbor", "online", "weld")]
    with Client(broker, "bay-1") as station:
        assert station.answer == "Success"
        others = [
            *(topic.replace("bay-1", "bay-2") for topic in own),
            *(f"{ROOT}/bay-1/{kind}" for kind in ("live", "alarm/a1", "senml/x")),
            *("meters/bay-2/flow", "steadybead/v1/south/bay-1/senml", "anything", "$SYS/x"),
        ]
        assert told(broker, station, *others, *own) == own


def test_a_device_of_another_language_is_its_stations_too(broker: Broker) -> None:
    with Client(broker, "bay-2") as station:
        assert told(broker, station, "meters/bay-2/flow") == ["meters/bay-2/flow"]
    with Client(broker, mosquitto.COLLECTOR) as ear:
        ear.listen("meters/bay-2/flow")
        assert ear.granted == [True]


def test_a_last_will_reaches_no_other_station(broker: Broker) -> None:
    with Client(broker, mosquitto.COLLECTOR) as ear:
        ear.listen(f"{ROOT}/+/online")
        for will in ("bay-2", "bay-1"):
            with Client(broker, "bay-1", will=f"{ROOT}/{will}/online") as station:
                if station.answer == "Success":
                    station.drop()
        until(lambda: (f"{ROOT}/bay-1/online", b"0") in ear.heard)
        assert [topic for topic, _ in ear.heard] == [f"{ROOT}/bay-1/online"]


def test_a_station_hears_nothing_not_even_of_itself(broker: Broker) -> None:
    with (
        Client(broker, mosquitto.COLLECTOR) as collector,
        Client(broker, "bay-1") as station,
        Client(broker, "bay-2") as other,
    ):
        station.listen("#", f"{ROOT}/+/live", f"{ROOT}/bay-2/senml", f"{ROOT}/bay-1/live", "$SYS/#")
        collector.listen(f"{ROOT}/#")
        collector.say(f"{ROOT}/bay-2/live", retain=True)
        collector.say(f"{ROOT}/bay-1/live", retain=True)
        other.say(f"{ROOT}/bay-2/senml")
        until(lambda: len(collector.heard) == 3)
        station.say(f"{ROOT}/bay-1/weld")
        until(lambda: len(collector.heard) == 4)
        assert station.heard == []


def test_the_collector_writes_only_what_it_has_to_say(broker: Broker) -> None:
    said = [f"{ROOT}/bay-1/live", f"{ROOT}/bay-1/alarm/a1"]
    not_said = [f"{ROOT}/bay-1/senml", f"{ROOT}/bay-1/online", f"{ROOT}/bay-1/weld"]
    with Client(broker, mosquitto.COLLECTOR) as collector:
        assert told(broker, collector, *not_said, *said) == said


@pytest.mark.parametrize(
    ("user", "password"),
    [
        (None, None),
        ("bay-1", "wrong"),
        ("bay-3", "x"),
        ("", "x"),
        (mosquitto.COLLECTOR, "wrong"),
        (mosquitto.SIMULATOR, None),
    ],
)
def test_nobody_else_gets_in(broker: Broker, user: str | None, password: str | None) -> None:
    with Client(broker, user, password) as stranger:
        assert stranger.answer in {"Not authorized", "Bad user name or password"}


def test_one_stations_password_opens_no_other_station(broker: Broker) -> None:
    with Client(broker, "bay-2", broker.password("bay-1")) as thief:
        assert thief.answer != "Success"


# The client library leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_broker_of_another_authority_is_not_believed(broker: Broker, tmp_path: Path) -> None:
    trustme.CA().cert_pem.write_to_path(str(tmp_path / "other.pem"))
    with (
        pytest.raises(ssl.SSLCertVerificationError),
        Client(broker, "bay-1", authority=tmp_path / "other.pem"),
    ):
        pass


def test_without_tls_nobody_is_answered(broker: Broker) -> None:
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set("bay-1", broker.password("bay-1"))
    client.connect("localhost", broker.port)
    until(lambda: client.loop(0.2) != paho.MQTT_ERR_SUCCESS)
    assert not client.is_connected()


def test_a_simulated_shop_speaks_only_until_there_is_an_own_one(tmp_path: Path) -> None:
    with (
        running(tmp_path / "demo", own_plant=False) as broker,
        Client(broker, mosquitto.SIMULATOR) as simulator,
    ):
        assert simulator.answer == "Success"
