"""The commands for who runs servers: `prepare` a set-up, `move` a shop between stores."""

import argparse
import datetime as dt
import sys
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from steadybead_domain.errors import PlainError

READINGS = "influxdb+http://influxdb:8086/steadybead?org=steadybead"
RECORDS = "postgresql://steadybead@postgres/steadybead"


def add_server_commands(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the parsers of `prepare` and `move`."""
    prepare = commands.add_parser("prepare", help="make keys and passwords of a server set-up")
    prepare.add_argument("--dir", type=Path, required=True, help="where all of it is kept")
    prepare.add_argument("--template", type=Path, help="plant file to begin with (default: demo)")
    prepare.add_argument("--readings", default=READINGS)
    prepare.add_argument("--records", default=RECORDS)
    prepare.add_argument("--broker-name", action="append", default=[], help="host name or address")
    prepare.add_argument("--volume", action="append", default=[], type=Path)
    prepare.add_argument("--owner", type=int, help="user id to give everything to")
    move = commands.add_parser("move", help="copy a shop to other stores, checked by hash")
    move.add_argument("--config", type=Path, required=True, help="plant file of the stores now")
    move.add_argument("--data", type=Path, help="data folder now (default: beside the plant file)")
    move.add_argument("--to", type=Path, required=True, help="plant file of the stores to be")
    move.add_argument("--to-data", type=Path, help="data folder to be")


def prepare_servers(words: argparse.Namespace) -> int:
    """Make what is missing; say what a person needs to know."""
    from steadybead_collector.servers.authority import names_missing  # noqa: PLC0415
    from steadybead_collector.servers.prepare import (  # noqa: PLC0415
        Addresses,
        Places,
        give_away,
        prepare,
    )

    places = Places(words.dir.absolute())
    names = tuple(name for name in words.broker_name if name) or ("localhost",)
    addresses = Addresses(words.readings, words.records, names)
    with as_file(files("steadybead_simulator") / "demo" / "plant.toml") as demo:
        plant = prepare(places, words.template or demo, addresses, dt.datetime.now(dt.UTC)).plant
    if words.owner is not None:
        give_away(places, words.volume, words.owner)
    sys.stdout.write(
        f"{len(plant.stations)} stations may speak to the broker; the password of each lies in"
        f" {places.of('app')}/stations, the broker's CA in {places.of('app')}/ca.pem\n"
    )
    certificate = places.of("broker") / "server.pem"
    if missing := names_missing(certificate, names):
        sys.stdout.write(
            f"the broker's certificate of an earlier start does not name {', '.join(missing)}:"
            f" stations cannot check it under that name. Remove {certificate.with_suffix('.key')}"
            " and start again, then give all stations the new ca.pem\n"
        )
    return 0


def move_shop(words: argparse.Namespace) -> int:
    """Copy readings and records, compare, and say so; the source is left as it is."""
    from steadybead_api.move import move  # noqa: PLC0415

    if words.config.absolute() == words.to.absolute():
        raise PlainError("--config and --to name the same plant file: write one for the new stores")
    return move(words.config, words.data, words.to, words.to_data)
