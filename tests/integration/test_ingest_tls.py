"""mqtts with a certificate authority of one's own, user and password file."""

import subprocess
from pathlib import Path

import pytest
import trustme

from brokers_ingest import mosquitto, needs_mosquitto, until
from plants_ingest import PLANT, plant_file
from steadybead_collector.clock import wall_clock
from steadybead_collector.config import load_plant_file
from steadybead_collector.mqtt.address import Address, subscriptions
from steadybead_collector.mqtt.inbox import Inbox
from steadybead_collector.mqtt.subscriber import Subscriber

pytestmark = [pytest.mark.mosquitto, needs_mosquitto]
SETTINGS = """[mqtt]
url = "mqtts://localhost:{port}"
user = "collector"
password_file = "secret"
ca_file = "{ca}.pem"
"""


def _certificates(folder: Path) -> str:
    ours, other = trustme.CA(), trustme.CA()
    ours.cert_pem.write_to_path(str(folder / "ours.pem"))
    other.cert_pem.write_to_path(str(folder / "other.pem"))
    server = ours.issue_cert("localhost")
    server.private_key_pem.write_to_path(str(folder / "server.key"))
    server.cert_chain_pems[0].write_to_path(str(folder / "server.pem"))
    secret = folder / "secret"
    secret.write_text("opensesame\n")
    secret.chmod(0o600)
    passwords = folder / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-c", "-b", str(passwords), "collector", "opensesame"], check=True
    )
    return (
        f"certfile {folder / 'server.pem'}\nkeyfile {folder / 'server.key'}\n"
        f"password_file {passwords}\n"
    )


def _subscriber(folder: Path, port: int, ca: str) -> Subscriber:
    text = PLANT + SETTINGS.format(port=port, ca=ca)
    loaded = load_plant_file(plant_file(folder, text))
    assert loaded.mqtt.url is not None
    address = Address.of(loaded.mqtt.url, loaded.mqtt)
    filters = subscriptions(loaded.plant, loaded.mqtt)
    return Subscriber(address, "ear", filters, Inbox(), wall_clock)


def test_it_connects_over_tls_with_user_and_password(tmp_path: Path) -> None:
    with mosquitto(tmp_path, _certificates(tmp_path)) as broker:
        subscriber = _subscriber(tmp_path, broker.port, "ours")
        subscriber.start()
        assert subscriber.wait_ready(10), subscriber.last_error
        place = ["--cafile", str(tmp_path / "ours.pem"), "-p", str(broker.port), "-q", "1"]
        login = ["-u", "collector", "-P", "opensesame", "-h", "localhost"]
        message = ["-t", "steadybead/v1/north/bay-1/senml", "-m", "x" * 100_000]
        subprocess.run(["mosquitto_pub", *place, *login, *message], check=True)
        until(lambda: len(subscriber._inbox) == 1)
        subscriber.stop()


# The client library leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_broker_that_another_authority_vouches_for_is_refused(tmp_path: Path) -> None:
    with mosquitto(tmp_path, _certificates(tmp_path)) as broker:
        subscriber = _subscriber(tmp_path, broker.port, "other")
        subscriber.start()
        until(lambda: "certificate" in subscriber.last_error.lower())
        assert not subscriber.ready
        subscriber.stop()
