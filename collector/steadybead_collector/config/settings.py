"""Settings of servers in the plant file: broker, stores, access."""

import math
import stat
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import SplitResult, urlsplit

from steadybead_collector.config.reader import Table, shown
from steadybead_domain.ids import NAME

DEFAULT_LISTEN = "127.0.0.1:1883"
DEFAULT_SPOOL_MB = 2048
DEFAULT_ROOT = "steadybead/v1"
MQTT_PORTS = {"mqtt": 1883, "mqtts": 8883}
_LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
_LONGEST_SECRET = 65_536
_PASSWORDLESS = "never write a password here; put it in a file of its own and name that file"


@dataclass(frozen=True, slots=True)
class MqttSettings:
    """How to reach the broker; `url` None means the embedded one on `listen`.

    `topics` replaces the subscriptions below `root`, for one partition of a large plant.
    """

    url: str | None = None
    user: str | None = None
    password_file: Path | None = None
    ca_file: Path | None = None
    topics: tuple[str, ...] = ()
    root: str = DEFAULT_ROOT
    listen: str = DEFAULT_LISTEN

    def password(self) -> str | None:
        """Read the password; its file was checked when the plant file was loaded. OSError."""
        return None if self.password_file is None else read_secret(self.password_file)


@dataclass(frozen=True, slots=True)
class StoreSettings:
    """Where readings and records are kept; the files hold the token and password of servers.

    `keep_days` None: readings are kept for ever. `spool_mb` bounds what waits on disk while a
    readings server is away.
    """

    readings: str = "sqlite"
    records: str = "sqlite"
    readings_token_file: Path | None = None
    records_password_file: Path | None = None
    readings_ca_file: Path | None = None
    keep_days: int | None = None
    spool_mb: int = DEFAULT_SPOOL_MB


@dataclass(frozen=True, slots=True)
class AccessSettings:
    """Who may read: `login`, or `open` to anyone who reaches the port."""

    read: str = "login"


def read_secret(path: Path) -> str:
    """Read the first line of a secret file, however long the file is."""
    with path.open(encoding="utf-8") as file:
        return file.readline(_LONGEST_SECRET).strip()


def read_mqtt(table: Table, folder: Path | None) -> MqttSettings:
    """Read `[mqtt]`; without a folder no file is looked up, here and below."""
    table.only(("url", "user", "password_file", "ca_file", "topics", "root", "listen"))
    user = table.text("user")
    password_file = secret_file(table, "password_file", folder)
    if user is not None and not table.has("password_file"):
        table.fault("user", "a user without a password file", 'add password_file = "…"')
    if table.has("password_file") and user is None:
        table.fault("password_file", "a password file without a user", 'add user = "…"')
    return MqttSettings(
        _url(table, "url", tuple(MQTT_PORTS), "mqtt://host:1883 or mqtts://host:8883"),
        user,
        password_file,
        _ca_file(table, folder),
        _topics(table),
        _root(table),
        _listen(table),
    )


def read_store(table: Table, folder: Path | None) -> StoreSettings:
    """Read `[store]`."""
    table.only(
        (
            *("readings", "readings_token_file", "readings_ca_file", "spool_mb", "keep_days"),
            *("records", "records_password_file"),
        )
    )
    influx = ("influxdb+http", "influxdb+https")
    return StoreSettings(
        _store(table, "readings", influx, "influxdb+http://host:8086/bucket"),
        _store(table, "records", ("postgresql",), "postgresql://user@host/database"),
        secret_file(table, "readings_token_file", folder),
        secret_file(table, "records_password_file", folder),
        _server_ca(table, folder),
        _whole(table, "keep_days"),
        _whole(table, "spool_mb") or DEFAULT_SPOOL_MB,
    )


def read_access(table: Table) -> AccessSettings:
    """Read `[access]`."""
    table.only(("read",))
    return AccessSettings(table.choice("read", str, ("login", "open")) or "login")


def _server_ca(table: Table, folder: Path | None) -> Path | None:
    path = _existing(table, "readings_ca_file", folder)
    readings = str(table.data.get("readings", ""))
    if path is not None and not readings.startswith("influxdb+https:"):
        remedy = 'write readings = "influxdb+https://…"'
        table.fault("readings_ca_file", "a CA file without an https server", remedy)
    return path


def _whole(table: Table, key: str) -> int | None:
    number = table.number(key, above=0)
    if math.isnan(number):
        return None
    if number != int(number):
        table.fault(key, f"{key} is {number:g}", f"write a whole number, {key} = 400")
        return None
    return int(number)


def _store(table: Table, key: str, schemes: tuple[str, ...], example: str) -> str:
    if table.data.get(key, "sqlite") == "sqlite":
        return "sqlite"
    return _url(table, key, schemes, f'"sqlite" or "{example}"') or "sqlite"


def _url(table: Table, key: str, schemes: tuple[str, ...], example: str) -> str | None:
    text = table.text(key)
    if text is None:
        return None
    parts = _split(text)
    if parts is None or parts.scheme not in schemes or not parts.hostname:
        table.fault(key, f"bad {key} {shown(text)}", f"write {example}")
        return None
    if parts.password is not None or (parts.username is not None and "mqtt" in parts.scheme):
        table.fault(key, f"{key} carries a user or a password", _PASSWORDLESS)
        return None
    return text


def _split(text: str) -> SplitResult | None:
    try:
        parts = urlsplit(text)
        _ = parts.port
    except ValueError:
        return None
    return parts


def secret_file(table: Table, key: str, folder: Path | None) -> Path | None:
    """Find a secret's file; note it if it is missing, empty or open to other users."""
    path = _existing(table, key, folder)
    if path is None or folder is None:
        return path
    if path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        message = f"{key} {shown(path.name)} can be read by other users of this machine"
        table.fault(key, message, f"run: chmod 600 {path}")
    elif not read_secret(path):
        table.fault(key, f"{key} {shown(path.name)} is empty", "write the secret in its first line")
    return path


def _ca_file(table: Table, folder: Path | None) -> Path | None:
    path = _existing(table, "ca_file", folder)
    url = table.data.get("url")
    if path is not None and not str(url).startswith("mqtts:"):
        table.fault("ca_file", "a CA file without an mqtts url", 'write url = "mqtts://…"')
    return path


def _existing(table: Table, key: str, folder: Path | None) -> Path | None:
    text = table.text(key)
    if text is None:
        return None
    if folder is None:
        return Path(text)
    path = folder / text
    try:
        with path.open("rb") as file:
            file.read(1)
    except (OSError, ValueError) as error:  # ValueError: no path has such a character
        reason = (error.strerror if isinstance(error, OSError) else None) or "unreadable"
        table.fault(key, f"{key} {shown(text)} cannot be read ({reason})", "give an existing file")
        return None
    return path


def _topics(table: Table) -> tuple[str, ...]:
    topics = table.texts("topics")
    for topic in topics:
        levels = topic.split("/")
        spaced = any(c.isspace() for c in topic)
        wild = any(len(level) > 1 and set(level) & {"+", "#"} for level in levels)
        if spaced or wild or "#" in levels[:-1]:
            remedy = "a wildcard fills a whole level, # stands last, no spaces"
            table.fault("topics", f"bad topic filter {shown(topic)}", remedy)
    return topics


def _root(table: Table) -> str:
    root = table.text("root") or DEFAULT_ROOT
    if not all(NAME.fullmatch(level) for level in root.split("/")):
        table.fault("root", f"bad topic root {shown(root)}", 'write names joined by /, "shop/v1"')
    return root


def _listen(table: Table) -> str:
    listen = table.text("listen") or DEFAULT_LISTEN
    host, _, port = listen.rpartition(":")
    if not port.isdecimal() or int(port) > 65535:
        table.fault("listen", f"bad listen {shown(listen)}", f'write "{DEFAULT_LISTEN}"')
    elif host not in _LOOPBACK:
        remedy = "listen on 127.0.0.1, or run a broker with passwords and give its url"
        table.fault("listen", f"the embedded broker has no passwords, so not on {host}", remedy)
    if table.has("listen") and table.has("url"):
        table.fault(
            "listen",
            "both url and listen are given",
            "url: the broker there; listen: the embedded one; keep one",
        )
    return listen
