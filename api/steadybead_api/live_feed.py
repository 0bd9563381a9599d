"""The API's own client of the broker: it only listens."""

import logging
import threading
from collections.abc import Callable

from steadybead_api.live_board import LiveBoard
from steadybead_collector.config.settings import MqttSettings
from steadybead_collector.mqtt.address import Address
from steadybead_collector.mqtt.link import Link, RefusedError
from steadybead_collector.mqtt.packets import Arrived
from steadybead_domain.plant import Plant

_END_S = 3.0
LOG = logging.getLogger(__name__)


class LiveFeed(LiveBoard):
    """Keeps the live state from the broker at `settings.url`, reconnecting by itself."""

    def __init__(
        self, settings: MqttSettings, plant: Callable[[], Plant], clock: Callable[[], int]
    ) -> None:
        super().__init__(plant, clock)
        if settings.url is None:
            raise ValueError("the live feed needs the broker's url")
        self.root = settings.root
        address = Address.of(settings.url, settings)
        self.address = str(address)
        self._ended = threading.Event()
        filters = (f"{self.root}/+/+/live", f"{self.root}/+/+/alarm/+")
        self._link = Link(address, "", filters, self, keep_session=False)
        self._thread = threading.Thread(
            target=self._link.keep, args=(self._ended.wait,), name="live feed", daemon=True
        )

    def start(self) -> None:
        """Begin to connect; returns at once, and tries until `close`."""
        self._thread.start()

    def close(self) -> None:
        """Disconnect; idempotent."""
        self._ended.set()
        self._link.wake()
        if self._thread.ident is None:
            self._link.close()
        else:
            self._thread.join(_END_S)
        self.disconnected()

    def goes_on(self) -> bool:
        """Tell the link whether to go on."""
        return not self._ended.is_set()

    def let_in(self, *, session_present: bool) -> None:
        """Let it be: only the subscription counts."""

    def subscribed(self) -> None:
        """Hear from the link that every subscription is confirmed."""
        self.connected(self._clock())

    def heard(self, message: Arrived) -> None:
        """Take a message; the publisher chose its quality of service."""
        topic = message.topic.removeprefix(f"{self.root}/")
        self.take(topic, message.payload, retained=message.retain)
        if message.qos:
            self._link.hand_over(lambda client: client.acknowledge([message.mid]))

    def lost(self, error: Exception | None) -> None:
        """Hear from the link that the connection is gone, perhaps because the broker refused it."""
        refusal = error.said if isinstance(error, RefusedError) else ""
        if refusal and refusal != self.refusal:
            LOG.warning("broker refused the live feed: %s", refusal)
        self.refusal = refusal
        self.disconnected()
