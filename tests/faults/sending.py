"""The sender: a steady load of readings, and the list of what the broker has acknowledged."""

import threading
import time
from collections.abc import Callable

import orjson

from brokers_ingest import Publisher, until
from steadybead_domain.ids import ChannelId

SITE = "north"
ROOT = "steadybead/v1"
TIMES_A_PACK = 5
DIAL = "shop/dial"
NAMES = ("gun-a/nozzle", "gun-a/flow")
PLANT = """[site]
id = "north"
timezone = "Europe/Lisbon"
[mqtt]
{mqtt}
[store]
readings = "{readings}"
records = "{records}"
[access]
read = "open"
"""
STATION = """[[station]]
id = "{station}"
[[station.channel]]
id = "gun-a/nozzle"
quantity = "nozzle_temperature"
unit = "Cel"
[[station.channel]]
id = "gun-a/flow"
quantity = "air_flow"
unit = "L/min"
"""
DIAL_CHANNEL = """[[station.channel]]
id = "gun-a/set"
quantity = "set_temperature"
unit = "Cel"
source = { topic = "shop/dial", pointer = "" }
"""


def plant_text(
    mqtt: str, stations: int = 2, readings: str = "sqlite", records: str = "sqlite"
) -> str:
    """Write a plant of so many stations; the first one has a channel whose messages lack a time."""
    text = PLANT.format(mqtt=mqtt, readings=readings, records=records)
    for number in range(1, stations + 1):
        text += STATION.format(station=f"bay-{number}")
        text += DIAL_CHANNEL if number == 1 else ""
    return text


def channel(station: int, name: str) -> ChannelId:
    return ChannelId(SITE, f"bay-{station}", name)


class Load:
    """Sends packs, one station after the other, at `packs_s` a second until stopped.

    Their times ascend by that rate; `pace`, if given, is the rate at which they are sent.

    Pack n carries TIMES_A_PACK successive times of two channels; with `untimed`, every tenth is
    followed by a message without a time, whose value is its number. `clock` gives the sender's
    own time in µs.
    """

    def __init__(
        self,
        url: str,
        packs_s: float = 50.0,
        stations: int = 2,
        *,
        untimed: bool = True,
        clock: Callable[[], int] = lambda: time.time_ns() // 1000,
        most_waiting: int = 2000,
        pace: float | None = None,
    ) -> None:
        self.client = Publisher(url)
        self.client._client.reconnect_delay_set(0.2, 0.5)  # type: ignore[arg-type]
        self.packs_s, self.stations, self._untimed = packs_s, stations, untimed
        self.pace = pace or packs_s
        self._most_waiting = most_waiting
        self.base_us = clock()
        self.sent = 0
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="load", daemon=True)
        self._thread.start()

    def time_of(self, number: int) -> int:
        """Give the first time of a pack; a station's times ascend by the number of its packs."""
        return self.base_us + int(number * 1e6 / self.packs_s)

    def times(self, number: int) -> list[int]:
        start = self.time_of(number)
        return [start + i * 100 for i in range(TIMES_A_PACK)]

    def station_of(self, number: int) -> int:
        return number % self.stations + 1

    @staticmethod
    def value(number: int, at: int, name: str) -> float:
        """Give the raw value: another one for each pack and place, exact in binary."""
        return (200 if name == NAMES[0] else 40) + ((number * TIMES_A_PACK + at) % 3201) / 32

    def payload(self, number: int) -> bytes:
        moments = self.times(number)
        return orjson.dumps(
            [
                {"n": name, "t": moment / 1e6, "v": self.value(number, at, name)}
                for at, moment in enumerate(moments)
                for name in NAMES
            ]
        )

    def topic(self, number: int) -> str:
        return f"{ROOT}/{SITE}/bay-{self.station_of(number)}/senml"

    def await_more(self, packs: int, timeout_s: float = 120.0) -> None:
        target = self.sent + packs
        until(lambda: self.sent >= target, timeout_s)

    def finish(self, timeout_s: float = 120.0) -> None:
        """Stop, and wait until all is acknowledged."""
        self.stop()
        self.client.flush(timeout_s)

    def stop(self) -> None:
        self._end.set()
        self._thread.join()

    def close(self) -> None:
        self.stop()
        self.client.close()

    @property
    def packs(self) -> list[int]:
        """Give the numbers of the packs that were acknowledged."""
        return [n for n in list(self.client.acknowledged) if n >= 0]

    @property
    def dials(self) -> list[int]:
        """Give the numbers of the messages without a time that were acknowledged."""
        return [-1 - n for n in list(self.client.acknowledged) if n < 0]

    def _run(self) -> None:
        due, last = 0.0, time.monotonic()
        while not self._end.wait(0.01):
            now = time.monotonic()
            if self.client.waiting < self._most_waiting:
                due += (now - last) * self.pace
            last = now
            while self.sent < int(due) and self.client.waiting < self._most_waiting:
                self._send(self.sent)

    def _send(self, number: int) -> None:
        self.client.send(self.topic(number), self.payload(number), number=number)
        if self._untimed and number % 10 == 0:
            self.client.send(DIAL, b"%d" % (number // 10), number=-1 - number // 10)
        self.sent = number + 1
