"""What one listener of the live stream has not been sent yet, in bounded memory."""

import asyncio
import threading
from collections import deque
from dataclasses import dataclass

from steadybead_domain.alarms.model import Alarm
from steadybead_domain.ids import StationId
from steadybead_domain.live import LiveStation

MOST_CHANGES = 512


@dataclass(frozen=True, slots=True)
class AlarmNews:
    """An alarm's new state, or None where it is normal again."""

    id: str
    alarm: Alarm | None


@dataclass(frozen=True, slots=True)
class BrokerNews:
    """Whether the broker is reached."""

    reachable: bool


News = LiveStation | AlarmNews | BrokerNews


class Subscription:
    """Newer values replace older ones; changes of state are all kept, in order.

    More than `most` waiting changes make it overrun: then it holds nothing any more, and its
    listener must be let go. Fed from any thread, read in the event loop that made it.
    """

    def __init__(self, most: int = MOST_CHANGES) -> None:
        self._loop = asyncio.get_running_loop()
        self._wake = asyncio.Event()
        self._lock = threading.Lock()
        self._changes: deque[News] = deque()
        self._values = dict[StationId, LiveStation]()
        self._most = most
        self.overrun = False

    def change(self, news: News) -> None:
        """Add a change of state; a station's waiting older values go."""
        with self._lock:
            if self.overrun:
                return
            if isinstance(news, LiveStation):
                self._values.pop(news.station, None)
            self._changes.append(news)
            if len(self._changes) > self._most:
                self._changes.clear()
                self._values.clear()
                self.overrun = True
        self.wake()

    def value(self, live: LiveStation) -> None:
        """Put newer values in the place of older ones."""
        with self._lock:
            if self.overrun:
                return
            self._values[live.station] = live
        self.wake()

    def wake(self) -> None:
        """Wake the listener; harmless when its loop is gone."""
        try:
            self._loop.call_soon_threadsafe(self._wake.set)
        except RuntimeError:
            self.overrun = True

    async def wait(self, seconds: float) -> None:
        """Wait until something is there, at most so long."""
        try:
            async with asyncio.timeout(seconds):
                await self._wake.wait()
        except TimeoutError:
            return
        self._wake.clear()

    def take(self) -> list[News]:
        """Take everything: changes in order, then values."""
        with self._lock:
            news = [*self._changes, *self._values.values()]
            self._changes.clear()
            self._values.clear()
        return news
