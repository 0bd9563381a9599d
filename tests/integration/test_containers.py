"""Servers in containers: each one alone, and the compose file with every container killed in turn.

Without a registry one base image of this machine's packages stands in for the broker, PostgreSQL
and InfluxDB (its 1.6.7 engine behind a path shim); images are settings, see `container_image.py`.
"""

import datetime as dt
import json
import os
import socket
import ssl
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlencode

import paho.mqtt.client as mqtt
import pytest

import container_image
import containers
from container_feed import CHANNEL, Station
from containers import Compose
from records_samples import T0, start
from steadybead_api.command import main
from steadybead_collector.records.store import Records, open_records
from steadybead_collector.servers import mosquitto
from steadybead_collector.stores import open_readings
from steadybead_domain.ports import StoreError
from steadybead_domain.times import DAY
from store_samples import NOZZLE, START, all_of, batch, reading

pytestmark = [pytest.mark.containers, pytest.mark.slow, pytest.mark.timeout(1800)]
TOKEN = (
    *("steadybead", "token", "--role=viewer"),
    *("--config=/steadybead/config/plant.toml", "--data=/tmp/t"),
)
SERVICES = ("broker", "influxdb", "postgres", "collector", "api")
POSTGRES = (
    "export PATH=$(ls -d /usr/lib/postgresql/*/bin | tail -1):$PATH;"
    " [ -d /tmp/c ] || initdb -D /tmp/c -U steadybead --auth=trust -E UTF8 >/dev/null;"
    " echo 'host all all all trust' >>/tmp/c/pg_hba.conf; rm -f /tmp/c/postmaster.pid;"
    " exec postgres -D /tmp/c -k /tmp -c listen_addresses='*'"
)


@pytest.fixture(scope="module")
def host() -> Iterator[str]:
    if (reason := containers.why_not()) is not None:
        pytest.skip(reason)
    with suppress(KeyError):
        os.environ.pop("TESTCONTAINERS_HOST_OVERRIDE")
    try:
        with containers.daemon() as address:
            os.environ |= {"DOCKER_HOST": address, "TESTCONTAINERS_RYUK_DISABLED": "true"}
            yield address
    except containers.NoContainersError as error:
        pytest.skip(str(error))
    finally:
        os.environ.pop("TESTCONTAINERS_RYUK_DISABLED", None)


@pytest.fixture(scope="module")
def base(host: str) -> str:
    try:
        return containers.base_image(host)
    except containers.NoContainersError as error:
        pytest.skip(f"this kernel lets no container run: {error}")


def address_of(container: object, port: int) -> tuple[str, int]:
    """Wait until a published port answers."""
    found = int(container.get_exposed_port(port))  # type: ignore[attr-defined]
    containers._await(lambda: answers(found), 60, f"port {port}")
    return "127.0.0.1", found


def answers(port: int) -> bool:
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1) as line:
        line.settimeout(0.3)
        with suppress(TimeoutError):
            return line.recv(1) != b""  # the proxy hangs up while nobody listens behind it
        return True
    return False


def test_the_broker_knows_its_stations_and_nobody_else(base: str, tmp_path: Path) -> None:
    from testcontainers.core.container import DockerContainer  # noqa: PLC0415

    main(["prepare", "--dir", str(tmp_path), "--broker-name", "localhost"])
    keys = tmp_path / "broker"
    settings = keys / "mosquitto.conf"
    settings.write_text(mosquitto.configuration("/keys", "/data"))
    for path in (tmp_path, keys, *keys.iterdir()):
        os.chown(path, container_image.SERVER, container_image.SERVER)
    image = os.environ.get("STEADYBEAD_TEST_MOSQUITTO_IMAGE", base)
    container = (
        DockerContainer(image, user=str(container_image.SERVER))
        .with_tmpfs_mount("/data", "mode=1777")
        .with_volume_mapping(str(keys), "/keys", "ro")
        .with_exposed_ports(8883)
        .with_command("mosquitto -c /keys/mosquitto.conf")
    )
    with container:
        _, port = address_of(container, 8883)
        password = (tmp_path / "app" / "stations" / "bay-1").read_text().strip()
        ca = tmp_path / "app" / "ca.pem"
        assert login(port, ca, "bay-1", password) == "Success"
        assert login(port, ca, "bay-1", "wrong") == "Not authorized"
        assert login(port, ca, "nobody", password) == "Not authorized"
        own, other = (f"steadybead/v1/north/{s}/senml" for s in ("bay-1", "bay-2"))
        assert heard_by_collector(port, tmp_path, password, (other, own)) == [own]


def client_of(port: int, ca: Path, user: str, password: str) -> mqtt.Client:
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.username_pw_set(user, password)
    client.tls_set_context(ssl.create_default_context(cafile=str(ca)))
    client.connect("localhost", port)
    return client


def login(port: int, ca: Path, user: str, password: str) -> str:
    told: list[str] = []
    client = client_of(port, ca, user, password)
    client.on_connect = lambda _c, _d, _f, code, _p: told.append(str(code))
    client.loop_start()
    containers._await(lambda: bool(told), 20, "login")
    client.disconnect()
    client.loop_stop()
    return told[0]


def heard_by_collector(
    port: int, folder: Path, password: str, topics: tuple[str, ...]
) -> list[str]:
    ca = folder / "app" / "ca.pem"
    secret = (folder / "app" / "broker-password").read_text().strip()
    heard: list[str] = []
    ready: list[int] = []
    collector = client_of(port, ca, mosquitto.COLLECTOR, secret)
    collector.on_subscribe = lambda *_: ready.append(1)
    collector.on_message = lambda _c, _d, message: heard.append(message.topic)
    collector.on_connect = lambda c, *_: c.subscribe("steadybead/v1/north/#", 1)
    collector.loop_start()
    containers._await(lambda: bool(ready), 20, "subscription")
    station = client_of(port, ca, "bay-1", password)
    station.loop_start()
    for topic in topics:
        station.publish(topic, b"[]", qos=1)
    containers._await(lambda: bool(heard), 20, "message")
    for client in (station, collector):
        client.disconnect()
        client.loop_stop()
    return heard


def test_the_readings_server_outlives_a_kill(base: str, tmp_path: Path) -> None:
    from testcontainers.core.container import DockerContainer  # noqa: PLC0415

    shim = str(containers.ROOT / "tests" / "influx_shim.py")
    container = (
        DockerContainer(base)
        .with_volume_mapping(shim, "/shim.py", "ro")
        .with_exposed_ports(8086)
        .with_command("python3 /shim.py 8086 /var/tmp steadybead")
    )
    with container:
        host, port = address_of(container, 8086)
        store = open_readings(f"influxdb+http://{host}:{port}/steadybead", tmp_path, None)
        store.append(batch({NOZZLE: [reading(START + i, float(i)) for i in range(500)]}))
        container.get_wrapped_container().kill()
        store.append(batch({NOZZLE: [reading(START + 500, 500.0)]}))
        assert "wait on this machine's disk" in store.fault  # type: ignore[attr-defined]
        store.close()
        container.get_wrapped_container().start()
        container.get_wrapped_container().reload()
        host, port = address_of(container, 8086)
        again = open_readings(f"influxdb+http://{host}:{port}/steadybead", tmp_path, None)
        while again.maintain():
            pass
        found = all_of(again, NOZZLE, START, START + DAY).value.tolist()
        assert found == [float(i) for i in range(501)]
        again.close()


def test_records_outlive_a_kill_of_their_database(base: str, tmp_path: Path) -> None:
    from testcontainers.core.container import DockerContainer  # noqa: PLC0415

    container = (
        DockerContainer(base, user=str(container_image.SERVER), entrypoint=["/bin/sh", "-ec"])
        .with_exposed_ports(5432)
        .with_command([POSTGRES])
    )
    with container:
        host, port = address_of(container, 5432)
        url = f"postgresql://steadybead@{host}:{port}/postgres"
        records = open_when_ready(url, tmp_path)
        assert records.add_weld_event(start("w1"))
        records.close()
        container.get_wrapped_container().kill()
        with pytest.raises(StoreError, match="Start the database server"):
            open_records(url, tmp_path)
        container.get_wrapped_container().start()
        container.get_wrapped_container().reload()
        host, port = address_of(container, 5432)
        again = open_when_ready(f"postgresql://steadybead@{host}:{port}/postgres", tmp_path)
        assert again.welds.get("w1") is not None
        again.close()


def open_when_ready(url: str, folder: Path) -> Records:
    found: list[Records] = []

    def tried() -> bool:
        with suppress(StoreError):
            found.append(open_records(url, folder, lambda: T0))
        return bool(found)

    containers._await(tried, 60, "PostgreSQL")
    return found[0]


@pytest.fixture(scope="module")
def compose(host: str, base: str) -> Iterator[Compose]:
    try:
        product = containers.product_image(host, base)
    except containers.NoContainersError as error:
        pytest.skip(str(error))
    images = {"STEADYBEAD_IMAGE": product} | dict.fromkeys(containers.STAND_INS, base)
    compose = Compose(host, images)
    try:
        compose.run("up", "-d", "--no-build", within_s=240)
        compose.await_health(SERVICES)
        yield compose
    finally:
        compose.run("down", "-v", "-t", "2", within_s=120)


@pytest.mark.filterwarnings(  # paho does not close the socket of a TLS handshake that failed
    "ignore:unclosed <ssl.SSLSocket:ResourceWarning",
    "ignore::pytest.PytestUnraisableExceptionWarning",
)
def test_every_container_is_killed_in_turn_and_everything_is_found_again(
    compose: Compose, tmp_path: Path
) -> None:
    ca = tmp_path / "ca.pem"
    ca.write_text(compose.inside("collector", "cat", "/steadybead/app/ca.pem") + "\n")
    password = compose.inside("collector", "cat", "/steadybead/app/stations/bay-1")
    token = compose.inside("collector", *TOKEN)
    station = Station(compose.mqtt_port, ca, password)
    for service in SERVICES:
        compose.docker("kill", "-s", "SIGKILL", compose.id_of(service))
        before = len(station.sent)
        containers._await(lambda n=before: len(station.sent) > n + 50, 30, "sending")
        compose.docker("start", compose.id_of(service))
        compose.await_health([service])
    station.stop()
    compose.await_health(SERVICES)
    assert len(station.acknowledged) > 500

    def all_there() -> bool:
        return set(station.acknowledged) <= set(times(compose, token))

    containers._await(all_there, 60, "finding everything again")
    found = times(compose, token)
    assert len(found) == len(set(found))
    assert len(set(found) - set(station.sent.values())) == 0


def times(compose: Compose, token: str) -> list[float]:
    today = dt.datetime.now(dt.UTC)
    day = dt.timedelta(days=1)
    asked = {
        "channel": CHANNEL,
        "start": (today - day).isoformat().replace("+00:00", "Z"),
        "end": (today + day).isoformat().replace("+00:00", "Z"),
    }
    found: list[float] = []
    cursor: str | None = None
    while True:
        query = urlencode(asked | ({"cursor": cursor} if cursor else {}))
        request = urllib.request.Request(
            f"http://127.0.0.1:{compose.http_port}/api/v1/readings?{query}",
            headers={"Authorization": f"Bearer {token}"},
        )
        with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310
            page = json.load(answer)
        found += [
            round(dt.datetime.fromisoformat(item["time"]).timestamp(), 3) for item in page["items"]
        ]
        cursor = page["next"]
        if cursor is None:
            return found


def test_no_container_runs_as_root_or_can_write_to_its_image(compose: Compose) -> None:
    for service in SERVICES:
        assert compose.inside(service, "id", "-u") == "10001"
        tried = compose.inside(service, "sh", "-c", "touch /usr/x 2>/dev/null || echo refused")
        assert tried == "refused"
