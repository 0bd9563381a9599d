"""The API's own client of the broker: it only listens."""

import contextlib
import logging
import ssl
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from steadybead_api.live_board import LiveBoard
from steadybead_collector.config.settings import MQTT_PORTS, MqttSettings
from steadybead_domain.plant import Plant

KEEPALIVE_S = 15
_GRANTED = 2
_log = logging.getLogger(__name__)


class LiveFeed(LiveBoard):
    """Keeps the live state from the broker at `settings.url`, reconnecting by itself."""

    def __init__(
        self, settings: MqttSettings, plant: Callable[[], Plant], clock: Callable[[], int]
    ) -> None:
        super().__init__(plant, clock)
        if settings.url is None:
            raise ValueError("the live feed needs the broker's url")
        self.root = settings.root
        self._now = clock
        self._address = urlsplit(settings.url)
        self._port = self._address.port or MQTT_PORTS[self._address.scheme]
        self.address = f"{self._address.hostname}:{self._port}"
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id="", protocol=mqtt.MQTTv311
        )
        if settings.user is not None:
            self._client.username_pw_set(settings.user, settings.password())
        if self._address.scheme == "mqtts":
            self._client.tls_set_context(ssl.create_default_context(cafile=settings.ca_file))
        self._client.reconnect_delay_set(1, 10)
        self._client.on_connect = self._on_connect
        self._client.on_connect_fail = self._on_connect_fail
        self._client.on_disconnect = self._on_disconnect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message

    def start(self) -> None:
        """Begin to connect; returns at once, and tries until `close`."""
        self._client.connect_async(self._address.hostname or "", self._port, KEEPALIVE_S)
        self._client.loop_start()

    def close(self) -> None:
        """Disconnect; idempotent."""
        self._client.disconnect()
        self._client.loop_stop()
        self.disconnected()

    def _on_connect(
        self, client: mqtt.Client, _data: Any, _flags: Any, reason: Any, _properties: Any
    ) -> None:
        if reason.is_failure:
            self.refusal = str(reason)
            _log.warning("broker refused the live feed: %s", reason)
            return
        client.subscribe([(f"{self.root}/+/+/live", 0), (f"{self.root}/+/+/alarm/+", 1)])

    def _on_connect_fail(self, _client: mqtt.Client, _data: Any) -> None:
        self.refusal = ""

    def _on_subscribe(
        self, _client: mqtt.Client, _data: Any, _mid: int, reasons: Any, _properties: Any
    ) -> None:
        if all(r.value <= _GRANTED for r in reasons):
            self.connected(self._now())
        else:
            self.refusal = ", ".join(dict.fromkeys(str(r) for r in reasons))
            _log.warning("broker refused the live subscription: %s", reasons)

    def _on_disconnect(
        self, _client: mqtt.Client, _data: Any, _flags: Any, _reason: Any, _properties: Any
    ) -> None:
        self.disconnected()

    def _on_message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        with contextlib.suppress(UnicodeDecodeError):
            topic = message.topic.removeprefix(f"{self.root}/")
            self.take(topic, bytes(message.payload), retained=message.retain)
