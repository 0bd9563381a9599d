"""What is said of the stations on the broker: `live` and `alarm/<id>`, both retained."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import orjson

from steadybead_domain.alarms.codec import alarm_to_json
from steadybead_domain.alarms.model import Alarm
from steadybead_domain.ids import StationId
from steadybead_domain.live import LiveStation
from steadybead_domain.times import SECOND

Publish = Callable[[str, bytes], bool]
VALUES_EVERY = SECOND // 10
AT_LEAST_EVERY = SECOND


@dataclass(slots=True)
class _Said:
    live: LiveStation | None = None
    at: int = 0
    alarms: dict[str, bytes] = field(default_factory=dict)


class Publisher:
    """Publishes only what has changed. `publish` takes a topic and a retained payload.

    A change of state goes out at once, values at most ten times a second, and something at least
    once a second, so that silence means that the collector is not there.
    """

    def __init__(self, root: str, publish: Publish) -> None:
        self._root, self._publish = root, publish
        self._said: dict[StationId, _Said] = {}
        self._found: dict[str, None] = {}

    def say(self, now: int, live: LiveStation, alarms: Sequence[Alarm]) -> bool:
        """Say what is so at `now`, as far as it is due; False if values wait for their turn."""
        said = self._said.setdefault(live.station, _Said())
        is_due = self.say_values(now, live)
        self._say_alarms(live.station, said.alarms, {a.raised.alarm: _written(a) for a in alarms})
        return is_due or said.live is None or said.live.values == live.values

    def say_values(self, now: int, live: LiveStation) -> bool:
        """Say what is so at `now` but for the alarms; False if it is not due."""
        said = self._said.setdefault(live.station, _Said())
        is_due = _is_due(now, live, said)
        if is_due and self._publish(f"{self._root}/{live.station}/live", live_payload(live)):
            said.live, said.at = live, now
        return is_due

    def found(self, topic: str) -> None:
        """Hear that the broker keeps an alarm, perhaps from an earlier run."""
        self._found[topic] = None

    def clear_leftovers(self) -> None:
        """Clear alarms that the broker keeps and that are none any more."""
        for topic in list(self._found):
            station, _, alarm = topic.removeprefix(f"{self._root}/").partition("/alarm/")
            said = next((s for k, s in self._said.items() if str(k) == station), None)
            if said is None:
                continue
            if alarm in said.alarms or self._publish(topic, b""):
                del self._found[topic]

    def forget(self) -> None:
        """Say everything again: the connection is a new one."""
        self._said.clear()

    def _say_alarms(
        self, station: StationId, said: dict[str, bytes], now: Mapping[str, bytes]
    ) -> None:
        for alarm, payload in now.items():
            topic = f"{self._root}/{station}/alarm/{alarm}"
            if said.get(alarm) != payload and self._publish(topic, payload):
                said[alarm] = payload
        for alarm in [a for a in said if a not in now]:
            if self._publish(f"{self._root}/{station}/alarm/{alarm}", b""):
                del said[alarm]


def live_payload(live: LiveStation) -> bytes:
    """Write the payload of the topic `live`."""
    return orjson.dumps(live.to_json())


def _is_due(now: int, live: LiveStation, said: _Said) -> bool:
    if said.live is None or now < said.at or now - said.at >= AT_LEAST_EVERY:
        return True
    if _state(live) != _state(said.live):
        return True
    return now - said.at >= VALUES_EVERY and live.values != said.live.values


def _state(live: LiveStation) -> tuple[Any, ...]:
    return live.fitness, live.reasons, live.guns


def _written(alarm: Alarm) -> bytes:
    return orjson.dumps(alarm_to_json(alarm))
