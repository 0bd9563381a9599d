"""The first start of a server set-up: everything secret is made here, nothing is shipped."""

import datetime as dt
import json
import os
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from steadybead_collector.config import PlantFile, load_plant_file, read_plant_text
from steadybead_collector.servers import mosquitto
from steadybead_collector.servers.authority import make_certificates
from steadybead_collector.servers.files import replace_private, secret, write_once
from steadybead_domain.errors import PlainError

OWN_PLANT = "shop.toml"
_HEADER = re.compile(r"^\s*\[+\s*([A-Za-z0-9_.-]+)\s*\]+")
_REPLACED = {"mqtt", "store"}
_OF_THE_SHOP = {"mqtt": ("root", "topics"), "store": ("keep_days", "spool_mb")}
_SERVERS = """# How the parts of this set-up find each other. Secrets stay in the files named here.
[mqtt]
url = "mqtts://{broker}:8883"
user = "{user}"
password_file = "{keys}/broker-password"
ca_file = "{keys}/ca.pem"
{mqtt}
[store]
readings = "{readings}"
readings_token_file = "{keys}/readings-token"
records = "{records}"
records_password_file = "{keys}/records-password"
{store}
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

    A plant file `shop.toml` of the shop's own in the config folder is taken over anew each time;
    of its tables for broker and stores only what the servers leave to the shop (`keep_days`,
    `spool_mb`, `root`, `topics`). Until there is one, `template` is taken, and a simulated shop
    may speak for its stations. Passwords of stations that were added are made as well.
    """
    app, broker = places.of("app"), places.of("broker")
    for folder in places.all():
        folder.mkdir(parents=True, exist_ok=True)
    make_certificates(app, broker, addresses.broker_names, now)
    replace_private(broker / "ca.pem", (app / "ca.pem").read_text("utf-8"))
    records = secret(app / "records-password")
    write_once(places.of("postgres") / "password", records + "\n")
    token = secret(app / "readings-token")
    write_once(places.of("influx") / "token", token + "\n")
    secret(places.of("influx") / "password")
    own = {mosquitto.COLLECTOR: secret(app / "broker-password")}
    own[mosquitto.HEALTH] = secret(broker / "health-password")
    plant = places.config / "plant.toml"
    own_plant = places.config / OWN_PLANT
    simulated = secret(app / "simulator-password")
    if own_plant.exists():
        replace_private(plant, plant_text(_read_own(own_plant), app, addresses))
    else:
        text = without_tables(template.read_text("utf-8"), {"access"})
        write_once(plant, plant_text(text, app, addresses))
        own[mosquitto.SIMULATOR] = simulated
    plant_file = load_plant_file(plant)
    _broker_files(broker, app, plant_file, own)
    return plant_file


def _read_own(file: Path) -> str:
    """Read the shop's own plant file; its mistakes are named by its own lines. PlainError."""
    try:
        text = file.read_text("utf-8")
    except UnicodeDecodeError:
        raise PlainError(f"{file}: is not UTF-8 text: save it as UTF-8") from None
    try:
        tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        read_plant_text(text, str(file), file.parent)
    read_plant_text(without_tables(text, _REPLACED, "\n"), str(file), file.parent)
    return text


def plant_text(template: str, keys: Path, addresses: Addresses) -> str:
    """Put the tables of the servers in place of those that the template has."""
    own = tomllib.loads(template)
    kept = {
        table: "".join(
            f"{name} = {json.dumps(value, default=str)}\n"
            for name, value in own.get(table, {}).items()
            if name in names
        )
        for table, names in _OF_THE_SHOP.items()
    }
    head = _SERVERS.format(
        broker=addresses.broker_names[0],
        user=mosquitto.COLLECTOR,
        keys=keys,
        readings=addresses.readings,
        records=addresses.records,
        **kept,
    )
    return head + without_tables(template, _REPLACED)


def without_tables(text: str, names: set[str], instead: str = "") -> str:
    """Leave out whole tables of a TOML file, line by line; `instead` stands for each line."""
    kept: list[str] = []
    inside = False
    for line in text.splitlines(keepends=True):
        header = _HEADER.match(line)
        if header is not None:
            inside = header[1] in names
        kept.append(instead if inside else line)
    return "".join(kept)


def _broker_files(broker: Path, app: Path, plant_file: PlantFile, own: dict[str, str]) -> None:
    plant = plant_file.plant
    names = [station.id.station for station in plant.stations]
    for name in names:
        if name in mosquitto.RESERVED:
            raise PlainError(f"station {name!r}: the broker has a user of that name; rename it")
    users = {name: secret(app / "stations" / name) for name in names}
    replace_private(broker / "passwords", mosquitto.passwords(users | own))
    sources: dict[str, list[str]] = {}
    for channel in plant.channels():
        if channel.source is not None:
            topics = sources.setdefault(channel.id.station, [])
            topics += [] if channel.source.topic in topics else [channel.source.topic]
    simulated = mosquitto.SIMULATOR in own
    rights = mosquitto.rights(plant_file.mqtt.root, plant.site, sources, simulated=simulated)
    replace_private(broker / "rights", rights)
    write_once(broker / "mosquitto.conf", mosquitto.configuration(str(broker), "/mosquitto/data"))


def give_away(places: Places, volumes: Sequence[Path], owner: int) -> None:
    """Hand all folders, and volumes that are new, to the user that servers run as. OSError."""
    fresh = [volume for volume in volumes if volume.stat().st_uid != owner]
    for top in (*places.all(), *fresh):
        os.chown(top, owner, owner)
        for folder, folders, files in os.walk(top):
            for name in (*folders, *files):
                os.chown(Path(folder, name), owner, owner, follow_symlinks=False)
