"""The first start of a server set-up: secrets that nobody shipped, made once."""

import base64
import datetime as dt
import hashlib
import ssl
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import load_pem_private_key

from steadybead_api.command import main
from steadybead_collector.config import load_plant_file
from steadybead_collector.health import Pulse, ailment
from steadybead_collector.servers import mosquitto
from steadybead_domain.times import SECOND

NOW = 1_790_000_000_000_000


def prepared(folder: Path, *more: str) -> int:
    names = ("--broker-name", "broker", "--broker-name", "192.0.2.7")
    return main(["prepare", "--dir", str(folder), *names, *more])


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_everything_secret_is_made_private_and_only_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert prepared(tmp_path) == 0
    assert "3 stations" in capsys.readouterr().out
    first = contents(tmp_path)
    private = [p for p in tmp_path.rglob("*") if p.is_file()]
    assert all(p.stat().st_mode & 0o077 == 0 for p in private)
    assert prepared(tmp_path) == 0
    again = contents(tmp_path)
    assert {k for k in first if first[k] != again[k]} <= {"broker/passwords"}  # salted anew
    other = tmp_path / "other"
    assert prepared(other) == 0
    assert contents(other)["app/broker-password"] != first["app/broker-password"]


def test_the_plant_file_names_the_servers_and_keeps_the_stations(tmp_path: Path) -> None:
    assert prepared(tmp_path) == 0
    plant = load_plant_file(tmp_path / "config" / "plant.toml")
    assert plant.mqtt.url == "mqtts://broker:8883"
    assert plant.mqtt.ca_file == tmp_path / "app" / "ca.pem"
    assert plant.store.readings.startswith("influxdb+http://influxdb:8086/steadybead")
    assert plant.store.records.startswith("postgresql://")
    assert plant.access.read == "login"
    assert len(plant.plant.stations) == 3


def test_the_certificate_is_for_the_names_and_signed_by_the_authority(tmp_path: Path) -> None:
    assert prepared(tmp_path) == 0
    broker = tmp_path / "broker"
    context = ssl.create_default_context(cafile=str(tmp_path / "app" / "ca.pem"))
    context.load_cert_chain(broker / "server.pem", broker / "server.key")
    ca = x509.load_pem_x509_certificate((broker / "ca.pem").read_bytes())
    server = x509.load_pem_x509_certificate((broker / "server.pem").read_bytes())
    server.verify_directly_issued_by(ca)
    names = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["broker"]
    assert [str(a) for a in names.get_values_for_type(x509.IPAddress)] == ["192.0.2.7"]
    assert server.not_valid_before_utc < dt.datetime.now(dt.UTC) < server.not_valid_after_utc
    key = load_pem_private_key((broker / "server.key").read_bytes(), None)
    assert key.public_key() == server.public_key()
    assert not list(tmp_path.rglob("ca.key"))


def test_passwords_are_salted_hashes_that_fit(tmp_path: Path) -> None:
    assert prepared(tmp_path) == 0
    stored = dict(
        line.split(":", 1) for line in (tmp_path / "broker" / "passwords").read_text().splitlines()
    )
    password = (tmp_path / "app" / "stations" / "bay-1").read_text().strip()
    _, kind, rounds, salt, digest = stored["bay-1"].split("$")
    made = hashlib.pbkdf2_hmac("sha512", password.encode(), base64.b64decode(salt), int(rounds))
    assert kind == "7"
    assert base64.b64decode(digest) == made
    assert password not in "".join(stored.values())


def test_a_station_may_write_under_its_own_name_only() -> None:
    rights = mosquitto.rights("steadybead/v1", "north", {"bay-1": ["meters/flow"]})
    assert "pattern write steadybead/v1/north/%u/senml\n" in rights
    anyone = [line for line in rights.splitlines() if line.startswith("pattern")]
    assert {line.split()[1] for line in anyone} == {"write"}
    assert all(line.split()[2].startswith("steadybead/v1/north/%u/") for line in anyone)


def test_a_station_that_takes_a_name_of_the_set_up_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    template = tmp_path / "own.toml"
    template.write_text(
        '[site]\nid = "n"\ntimezone = "UTC"\n[[station]]\nid = "steadybead-health"\n'
        '[[station.channel]]\nid = "gun-a/flow"\nquantity = "air_flow"\nunit = "L/min"\n'
        '[[station.channel]]\nid = "gun-a/n"\nquantity = "nozzle_temperature"\nunit = "Cel"\n'
    )
    assert prepared(tmp_path / "made", "--template", str(template)) == 2
    assert "rename it" in capsys.readouterr().err


def test_a_pulse_tells_a_live_collector_from_a_dead_one(tmp_path: Path) -> None:
    assert "no collector has run" in ailment(tmp_path, NOW)
    pulse = Pulse(tmp_path)
    pulse.beat(NOW, subscribed=True, fault="")
    assert not pulse.due(NOW + SECOND)
    assert pulse.due(NOW + 6 * SECOND)
    assert ailment(tmp_path, NOW + 10 * SECOND) == ""
    assert "40 s old" in ailment(tmp_path, NOW + 40 * SECOND)
    pulse.beat(NOW, subscribed=False, fault="broker away")
    assert ailment(tmp_path, NOW) == "broker away"


def test_a_plant_file_of_the_shop_s_own_is_taken_over_each_time(tmp_path: Path) -> None:
    assert prepared(tmp_path) == 0
    own = tmp_path / "config" / "shop.toml"
    text = (tmp_path / "config" / "plant.toml").read_text().split("[site]", 1)[1]
    mine = '[mqtt]\nlisten = "127.0.0.1:1883"\n\n[access]\nread = "open"\n\n[site]' + text
    own.write_text(mine.replace('"bay-3"', '"bay-9"'))
    assert prepared(tmp_path) == 0
    plant = load_plant_file(tmp_path / "config" / "plant.toml")
    assert plant.mqtt.url == "mqtts://broker:8883"
    assert plant.access.read == "open"
    assert [s.id.station for s in plant.plant.stations][-1] == "bay-9"
    assert (tmp_path / "app" / "stations" / "bay-9").exists()


def test_what_is_left_to_the_shop_stays_when_the_servers_are_put_in(tmp_path: Path) -> None:
    own = tmp_path / "config" / "shop.toml"
    assert prepared(tmp_path) == 0
    text = (tmp_path / "config" / "plant.toml").read_text().split("[site]", 1)[1]
    settings = '[store]\nreadings = "sqlite"\nkeep_days = 800\n\n[mqtt]\nroot = "shop/v1"\n\n'
    own.write_text(f"{settings}[site]{text}")
    assert prepared(tmp_path) == 0
    plant = load_plant_file(tmp_path / "config" / "plant.toml")
    assert plant.store.keep_days == 800
    assert plant.store.readings.startswith("influxdb+http://")
    assert plant.mqtt.root == "shop/v1"
    assert "shop/v1/north/%u/senml" in (tmp_path / "broker" / "rights").read_text()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[mqtt]\nurl = "x"\n\n[site]\nid = "north"\n\n[[station]]\n', "shop.toml: line 7"),
        ("[mqtt]\nurl = \n[site]\n", "shop.toml: line 2: is not TOML"),
        ("[site]\nid = \n", "shop.toml: line 2"),
        ("[site]\nname = '\xff'\n", "save it as UTF-8"),
    ],
)
def test_a_mistake_in_the_shop_s_own_file_is_named_by_its_own_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, says: str
) -> None:
    own = tmp_path / "config" / "shop.toml"
    own.parent.mkdir()
    own.write_bytes(text.encode("latin-1"))
    assert prepared(tmp_path) == 2
    said = capsys.readouterr().err
    assert says in said
    assert "Traceback" not in said


def test_a_name_that_the_certificate_lacks_is_told_with_the_remedy(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert prepared(tmp_path) == 0
    assert "certificate" not in capsys.readouterr().out
    before = (tmp_path / "app" / "ca.pem").read_bytes()
    assert prepared(tmp_path, "--broker-name", "mqtt.example") == 0
    said = capsys.readouterr().out
    assert "does not name mqtt.example" in said
    (tmp_path / "broker" / "server.key").unlink()
    assert prepared(tmp_path, "--broker-name", "mqtt.example") == 0
    assert "certificate" not in capsys.readouterr().out
    assert (tmp_path / "app" / "ca.pem").read_bytes() != before
    assert (tmp_path / "broker" / "ca.pem").read_bytes() == (
        tmp_path / "app" / "ca.pem"
    ).read_bytes()
