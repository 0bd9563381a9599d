"""A station that feeds the compose set-up over TLS and knows what the broker acknowledged."""

import json
import ssl
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt

TOPIC = "steadybead/v1/north/bay-1/senml"
CHANNEL = "north/bay-1/gun-a/set"


class Station:
    """Sends one reading a message, of ascending time, until it is told to stop."""

    def __init__(self, port: int, ca: Path, password: str) -> None:
        self.sent: dict[int, float] = {}
        self.acknowledged: set[float] = set()
        self._stop = threading.Event()
        self._client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2, "station-bay-1", clean_session=False
        )
        self._client.username_pw_set("bay-1", password)
        self._client.tls_set_context(ssl.create_default_context(cafile=str(ca)))
        self._client.reconnect_delay_set(1, 1)
        self._client.max_queued_messages_set(0)
        self._client.on_publish = self._published
        self._client.connect("localhost", port, keepalive=5)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self) -> None:
        while not self._stop.wait(0.02):
            moment = round(time.time(), 3)
            pack = [{"bn": "gun-a/", "bt": moment, "n": "set", "u": "Cel", "v": 320.0}]
            told = self._client.publish(TOPIC, json.dumps(pack), qos=1)
            self.sent[told.mid] = moment

    def _published(self, _client: object, _data: object, mid: int, *_: object) -> None:
        moment = self.sent.get(mid)
        if moment is not None:
            self.acknowledged.add(moment)

    def stop(self) -> None:
        """Send nothing more, wait for what is on its way, and hang up."""
        self._stop.set()
        self._thread.join(5)
        until = time.monotonic() + 30
        while len(self.acknowledged) < len(self.sent) and time.monotonic() < until:
            threading.Event().wait(0.1)
        self._client.disconnect()
        self._client.loop_stop()
