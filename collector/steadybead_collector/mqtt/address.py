"""Where the broker is, and as whom the collector connects."""

import os
import secrets
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from steadybead_collector.config.settings import MQTT_PORTS, MqttSettings
from steadybead_collector.stores.files import sync_folder
from steadybead_domain.plant import Plant

_CLIENT_ID_FILE = "mqtt-client-id"
_LONGEST_ID = 23  # MQTT 3.1.1 section 3.1.3.1: what every server must take


@dataclass(frozen=True, slots=True)
class Address:
    """A broker and the credentials for it."""

    host: str
    port: int
    tls: bool = False
    ca_file: Path | None = None
    user: str | None = None
    password: str | None = None

    @classmethod
    def of(cls, url: str, settings: MqttSettings) -> "Address":
        """Read the url; user, password and CA come from the settings. OSError, ValueError."""
        parts = urlsplit(url)
        if parts.scheme not in MQTT_PORTS or not parts.hostname:
            raise ValueError(f"{url}: write mqtt://host:1883 or mqtts://host:8883")
        port = parts.port or MQTT_PORTS[parts.scheme]
        tls = parts.scheme == "mqtts"
        password = settings.password()
        return cls(parts.hostname, port, tls, settings.ca_file, settings.user, password)

    def __str__(self) -> str:
        """Write host and port."""
        return f"{self.host}:{self.port}"


def subscriptions(plant: Plant, settings: MqttSettings) -> tuple[str, ...]:
    """Give the topic filters of a plant; `topics` of the settings replaces those of stations.

    The alarms that the broker keeps are among them: those that are over must be cleared.
    """
    site = f"{settings.root}/{plant.site}/+"
    own = settings.topics or tuple(f"{site}/{k}" for k in ("senml", "senml-cbor", "online", "weld"))
    foreign = (c.source.topic for c in plant.channels() if c.source is not None)
    return tuple(dict.fromkeys((*own, f"{site}/alarm/+", *foreign)))


def kept_client_id(folder: Path) -> str:
    """Give the data folder's client id, made once and unguessable. OSError.

    The broker keeps the queue under this name, and whoever knew it could empty the queue.
    """
    path = folder / _CLIENT_ID_FILE
    if path.exists():
        known = path.read_text(encoding="ascii").strip()
        if known:
            return known
    made = ("sb-" + secrets.token_hex(10))[:_LONGEST_ID]
    fresh = path.with_suffix(".new")
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
        file.write(made + "\n")
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    sync_folder(folder)  # after a power cut another name would leave the queue behind
    return made
