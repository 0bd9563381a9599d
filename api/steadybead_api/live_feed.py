"""The API's own client of the broker: it only listens."""

import logging
import threading
from collections.abc import Callable

from steadybead_api.live_board import LiveBoard
from steadybead_collector.config.settings import MqttSettings
from steadybead_collector.mqtt.address import Address
from steadybead_collector.mqtt.backoff import Backoff
from steadybead_collector.mqtt.link import Link, RefusedError
from steadybead_collector.mqtt.packets import Arrived
from steadybead_domain.plant import Plant

LONGEST_PAUSE_S = 10.0
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
        self._now = clock
        self._ended = threading.Event()
        self._backoff = Backoff(longest_s=LONGEST_PAUSE_S)
        filters = (f"{self.root}/+/+/live", f"{self.root}/+/+/alarm/+")
        self._link = Link(address, "", filters, _Ear(self), keep_session=False)
        self._thread = threading.Thread(target=self._run, name="live feed", daemon=True)

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

    @property
    def goes_on(self) -> bool:
        """Tell whether nobody has closed it."""
        return not self._ended.is_set()

    def subscribed(self) -> None:
        """Hear from the link that every subscription is confirmed."""
        self._backoff.reset()
        self.connected(self._now())

    def heard(self, message: Arrived) -> None:
        """Take a message; the publisher chose its quality of service."""
        topic = message.topic.removeprefix(f"{self.root}/")
        self.take(topic, message.payload, retained=message.retain)
        if message.qos:
            self._link.hand_over(lambda client: client.acknowledge([message.mid]))

    def _run(self) -> None:
        while self.goes_on:
            try:
                self._link.run()
            except RefusedError as error:
                self._note(error.said)
            except OSError:
                self._note("")
            except Exception:  # whatever it is, the pages must not go blind
                LOG.exception("the live feed stumbled; it reconnects")
                self._note("")
            self.disconnected()
            self._ended.wait(self._backoff.next())
        self._link.close()

    def _note(self, refusal: str) -> None:
        if refusal and refusal != self.refusal:
            LOG.warning("broker refused the live feed: %s", refusal)
        self.refusal = refusal


class _Ear:
    """What the link asks and tells."""

    def __init__(self, feed: LiveFeed) -> None:
        self._feed = feed

    def goes_on(self) -> bool:
        return self._feed.goes_on

    def connected(self, *, session_present: bool) -> None:
        """Let it be: only the subscription counts."""

    def subscribed(self) -> None:
        self._feed.subscribed()

    def heard(self, message: Arrived) -> None:
        self._feed.heard(message)
