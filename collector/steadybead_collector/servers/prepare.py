"""The first start of a server set-up: everything secret is made here, nothing is shipped."""

import datetime as dt
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from steadybead_collector.config import PlantFile, load_plant_file
from steadybead_collector.servers import mosquitto
from steadybead_collector.servers.authority import make_certificates
from steadybead_collector.servers.files import replace_private, secret, write_once
from steadybead_domain.errors import PlainError

OWN_PLANT = "shop.toml"
_HEADER = re.compile(r"^\s*\[+\s*([A-Za-z0-9_.-]+)\s*\]+")
_SERVERS = """# How the parts of this set-up find each other. Secrets stay in the files named here.
[mqtt]
url = "mqtts://{broker}:8883"
user = "{user}"
password_file = "{keys}/broker-password"
ca_file = "{keys}/ca.pem"

[store]
readings = "{readings}"
readings_token_file = "{keys}/readings-token"
records = "{records}"
records_password_file = "{keys}/records-password"

"""


@dataclass(frozen=True, slots=True)
class Places:
    """Folders below one place, each of them to be seen by one server only.

    `config` has the plant file; `app` what collector and API need; the others what the broker,
    the database and the readings server need.
    """

    root: Path

    @property
    def config(self) -> Path:
        """Give the folder of the plant file."""
        return self.root / "config"

    def all(self) -> tuple[Path, ...]:
        """Give every folder."""
        return (self.config, *(self.of(name) for name in ("app", "broker", "postgres", "influx")))

    def of(self, server: str) -> Path:
        """Give the folder of `app`, `broker`, `postgres` or `influx`."""
        return self.root / server


@dataclass(frozen=True, slots=True)
class Addresses:
    """How the servers are reached from inside, and the names in the broker's certificate."""

    readings: str
    records: str
    broker_names: Sequence[str]


def prepare(places: Places, template: Path, addresses: Addresses, now: dt.datetime) -> PlantFile:
    """Make what is missing, leave what is there; give the plant file. Raises PlainError.

    A plant file `shop.toml` of the shop's own in the config folder is taken over anew each time,
    without its tables for broker and stores; until there is one, `template` is. Passwords of
    stations that were added are made as well.
    """
    app, broker = places.of("app"), places.of("broker")
    for folder in places.all():
        folder.mkdir(parents=True, exist_ok=True)
    make_certificates(app, broker, addresses.broker_names, now)
    write_once(broker / "ca.pem", (app / "ca.pem").read_text("utf-8"))
    records = secret(app / "records-password")
    write_once(places.of("postgres") / "password", records + "\n")
    token = secret(app / "readings-token")
    write_once(places.of("influx") / "token", token + "\n")
    secret(places.of("influx") / "password")
    own = {mosquitto.COLLECTOR: secret(app / "broker-password")}
    own[mosquitto.SIMULATOR] = secret(app / "simulator-password")
    own[mosquitto.HEALTH] = secret(broker / "health-password")
    plant = places.config / "plant.toml"
    own_plant = places.config / OWN_PLANT
    if own_plant.exists():
        replace_private(plant, plant_text(own_plant.read_text("utf-8"), app, addresses))
    else:
        text = without_tables(template.read_text("utf-8"), {"access"})
        write_once(plant, plant_text(text, app, addresses))
    plant_file = load_plant_file(plant)
    _broker_files(broker, app, plant_file, own)
    return plant_file


def plant_text(template: str, keys: Path, addresses: Addresses) -> str:
    """Put the tables of the servers in place of those that the template has."""
    rest = without_tables(template, {"mqtt", "store"})
    head = _SERVERS.format(
        broker=addresses.broker_names[0],
        user=mosquitto.COLLECTOR,
        keys=keys,
        readings=addresses.readings,
        records=addresses.records,
    )
    return head + rest


def without_tables(text: str, names: set[str]) -> str:
    """Leave out whole tables of a TOML file, line by line."""
    kept: list[str] = []
    inside = False
    for line in text.splitlines(keepends=True):
        header = _HEADER.match(line)
        if header is not None:
            inside = header[1] in names
        if not inside:
            kept.append(line)
    return "".join(kept)


def _broker_files(broker: Path, app: Path, plant_file: PlantFile, own: dict[str, str]) -> None:
    plant = plant_file.plant
    names = [station.id.station for station in plant.stations]
    for name in names:
        if name in mosquitto.RESERVED:
            raise PlainError(f"station {name!r}: the broker has a user of that name; rename it")
    users = {name: secret(app / "stations" / name) for name in names}
    replace_private(broker / "passwords", mosquitto.passwords(users | own))
    replace_private(broker / "rights", mosquitto.rights(plant_file.mqtt.root, plant.site))
    write_once(broker / "mosquitto.conf", mosquitto.configuration(str(broker), "/mosquitto/data"))


def give_away(places: Places, volumes: Sequence[Path], owner: int) -> None:
    """Hand all folders, and volumes that are new, to the user that servers run as. OSError."""
    fresh = [volume for volume in volumes if volume.stat().st_uid != owner]
    for top in (*places.all(), *fresh):
        os.chown(top, owner, owner)
        for folder, folders, files in os.walk(top):
            for name in (*folders, *files):
                os.chown(Path(folder, name), owner, owner, follow_symlinks=False)
