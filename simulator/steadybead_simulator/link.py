"""One station's connection to the broker, with its own Last Will."""

import ssl
from urllib.parse import unquote, urlsplit

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

MOST_IN_FLIGHT = 200  # more waits, so that memory stays flat


class BadUrlError(ValueError):
    """A broker URL that cannot be used."""


class BrokerError(RuntimeError):
    """The broker cannot be reached or refuses."""


class Link:
    """One station's connection, driven by the fleet's thread."""

    def __init__(self, url: str, station: str, root_topic: str, client_id: str) -> None:
        parts = urlsplit(url)
        shown = url.rpartition("@")[2][:100]  # never a password
        if parts.scheme not in {"mqtt", "mqtts"} or not parts.hostname:
            raise BadUrlError(f"broker {shown!r}: write it as mqtt://127.0.0.1:1883")
        try:
            self._port = parts.port or (8883 if parts.scheme == "mqtts" else 1883)
        except ValueError:
            raise BadUrlError(f"broker {shown!r}: the port is a number up to 65535") from None
        self._host = parts.hostname
        self.station = station
        self.online = f"{root_topic}/online"
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv311
        )
        if parts.username is not None:
            self.client.username_pw_set(unquote(parts.username), unquote(parts.password or ""))
        if parts.scheme == "mqtts":
            self.client.tls_set_context(ssl.create_default_context())
        self.client.will_set(self.online, b"0", qos=1, retain=True)
        self.client.max_inflight_messages_set(MOST_IN_FLIGHT)
        self.client.on_connect = self._connected
        self.word: bytes | None = None
        self.refused: str | None = None
        self.next_try = 0.0

    def waiting(self) -> int:
        """Count what the broker has not acknowledged."""
        return len(self.client._out_messages)  # noqa: SLF001  # paho has no public count

    def connect(self) -> None:
        """Connect; OSError if it fails."""
        self.client.connect(self._host, self._port, keepalive=30)

    def _connected(
        self,
        client: mqtt.Client,
        userdata: object,  # noqa: ARG002
        flags: mqtt.ConnectFlags,  # noqa: ARG002
        reason: ReasonCode,
        properties: object,  # noqa: ARG002
    ) -> None:
        if reason.is_failure:
            self.refused = str(reason)
        elif self.word is not None:
            client.publish(self.online, self.word, qos=1, retain=True)
