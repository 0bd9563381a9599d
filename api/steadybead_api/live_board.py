"""The live state of all stations as the broker told it, and the listeners to tell it on."""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import orjson

from steadybead_api.live_shown import never_heard, same_state, shown
from steadybead_api.live_subscription import AlarmNews, BrokerNews, News, Subscription
from steadybead_api.schemas import AlarmItem, LiveItem
from steadybead_collector.config.settings import DEFAULT_ROOT
from steadybead_domain.alarms.codec import alarm_from_json, alarm_to_json
from steadybead_domain.alarms.model import Alarm
from steadybead_domain.ids import StationId
from steadybead_domain.live import LiveStation
from steadybead_domain.plant import Plant
from steadybead_domain.times import SECOND

LARGEST_PAYLOAD = 1_000_000
MOST_LISTENERS = 200
RETAINED_WITHIN = 3 * SECOND  # after the subscription the broker sends what it retained
_log = logging.getLogger(__name__)


class TooManyListenersError(Exception):
    """No further live stream can be opened now."""


@dataclass(frozen=True, slots=True)
class LiveSnapshot:
    """All stations and alarms at one moment."""

    stations: tuple[LiveStation, ...]
    alarms: tuple[Alarm, ...]
    reachable: bool

    def station(self, station: StationId) -> LiveStation | None:
        """Find a station."""
        return next((s for s in self.stations if s.station == station), None)


@dataclass(frozen=True, slots=True)
class _Heard:
    live: LiveStation
    at: int


class LiveBoard:
    """Thread-safe. `plant` names the stations that are expected; `clock` gives µs.

    `address` is the broker's, `refusal` what it said when it last refused; empty where not known.
    `root` is what all its topics begin with.
    """

    root = DEFAULT_ROOT
    address = ""
    refusal = ""

    def __init__(self, plant: Callable[[], Plant], clock: Callable[[], int]) -> None:
        self._plant = plant
        self._clock = clock
        self._lock = threading.Lock()
        self._stations: dict[StationId, _Heard] = {}
        self._alarms: dict[str, Alarm] = {}
        self._unconfirmed: set[str] = set()
        self._listeners: set[Subscription] = set()
        self._subscribed: int | None = None
        self._lost = clock()

    @property
    def unreachable_since(self) -> int | None:
        """Tell in µs since when the link is gone, at the earliest the start; None: it stands."""
        with self._lock:
            return self._lost if self._subscribed is None else None

    @property
    def reachable(self) -> bool:
        """Tell whether the broker has granted the subscription and is still connected."""
        return self._subscribed is not None

    @property
    def listeners(self) -> int:
        """Count the open subscriptions."""
        return len(self._listeners)

    def connected(self, now: int) -> None:
        """Note that the broker granted the subscription."""
        with self._lock:
            self._subscribed = now
            self.refusal = ""
            self._unconfirmed = set(self._alarms)
        self._tell(BrokerNews(True))

    def disconnected(self) -> None:
        """Note that the broker is gone."""
        with self._lock:
            was, self._subscribed = self._subscribed, None
            if was is not None:
                self._lost = self._clock()
        if was is not None:
            self._tell(BrokerNews(False))

    def take(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """Take a message; `topic` is below the root. What cannot be read is logged and left."""
        parts = topic.split("/")
        try:
            if len(payload) > LARGEST_PAYLOAD:
                _log.warning("message on %s left aside: it is too large", topic)
            elif len(parts) == 3 and parts[2] == "live":
                self._take_live(StationId(parts[0], parts[1]), payload, retained=retained)
            elif len(parts) == 4 and parts[2] == "alarm":
                self._take_alarm(parts[3], payload)
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            _log.warning("message on %s left aside: %s", topic, error)

    def snapshot(self, now: int) -> LiveSnapshot:
        """Give everything as it is shown at `now`."""
        self._drop_unconfirmed(now)
        with self._lock:
            heard, alarms = dict(self._stations), tuple(self._alarms.values())
            reachable = self.reachable
        names = dict.fromkeys([*(s.id for s in self._plant().stations), *sorted(heard)])
        stations = [self._shown(name, heard.get(name), now, reachable) for name in names]
        return LiveSnapshot(tuple(stations), alarms, reachable)

    @contextmanager
    def listen(self) -> Iterator[Subscription]:
        """Subscribe, in an event loop; TooManyListenersError."""
        listener = Subscription()
        with self._lock:
            if len(self._listeners) >= MOST_LISTENERS:
                raise TooManyListenersError
            self._listeners.add(listener)
        try:
            yield listener
        finally:
            with self._lock:
                self._listeners.discard(listener)

    @staticmethod
    def _shown(name: StationId, heard: _Heard | None, now: int, reachable: bool) -> LiveStation:
        if heard is None:
            return never_heard(name, now, reachable=reachable)
        return shown(heard.live, heard.at, now, reachable=reachable)

    def _take_live(self, station: StationId, payload: bytes, *, retained: bool) -> None:
        if not payload:
            with self._lock:
                self._stations.pop(station, None)
            return
        data = orjson.loads(payload)
        live = LiveStation.from_json(data)
        LiveItem.model_validate(data)
        if live.station != station:
            raise ValueError(f"it speaks of {live.station}")
        now = self._clock()
        heard = _Heard(live, min(now, live.time) if retained else now)
        with self._lock:
            before = self._stations.get(station)
            self._stations[station] = heard
        display = shown(live, heard.at, now, reachable=True)
        if before is not None and same_state(before.live, display):
            self._each(lambda listener: listener.value(display))
        else:
            self._tell(display)

    def _take_alarm(self, alarm_id: str, payload: bytes) -> None:
        alarm = alarm_from_json(orjson.loads(payload)) if payload else None
        if alarm is not None:
            AlarmItem.model_validate(alarm_to_json(alarm))
        with self._lock:
            self._unconfirmed.discard(alarm_id)
            if alarm is None:
                gone = self._alarms.pop(alarm_id, None)
                known = gone is None
            else:
                known = self._alarms.get(alarm_id) == alarm
                self._alarms[alarm_id] = alarm
        if not known:
            self._tell(AlarmNews(alarm_id, alarm))

    def _drop_unconfirmed(self, now: int) -> None:
        with self._lock:
            since = self._subscribed
            if since is None or now - since < RETAINED_WITHIN:
                return
            gone, self._unconfirmed = self._unconfirmed, set()
            for alarm_id in gone:
                self._alarms.pop(alarm_id, None)
        for alarm_id in gone:
            self._tell(AlarmNews(alarm_id, None))

    def _tell(self, news: News) -> None:
        self._each(lambda listener: listener.change(news))

    def _each(self, tell: Callable[[Subscription], None]) -> None:
        with self._lock:
            listeners = list(self._listeners)
        for listener in listeners:
            tell(listener)
